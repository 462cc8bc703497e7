// The sheet that marks a stop: begin, end, name, known area; and that the tank is full again.

import { post } from "./feed.js";
import { write } from "./words.js";

const byId = (id) => document.getElementById(id);
const DONE = {
  begin: "A stop begins here",
  end: "The stop ends here",
  name: "Name and area are kept",
  fill: "The tank counts as full",
};

/**
 * @param {string} stopAddress, fillAddress where marks are posted
 * @param {(text: string) => void} tell says what was done
 */
export function makeStopSheet(stopAddress, fillAddress, tell) {
  const sheet = byId("sheet");
  const name = byId("mark-name");
  const area = byId("mark-area");
  const fault = byId("sheet-fault");
  const fill = byId("mark-fill");
  const buttons = [...["mark-begin", "mark-end", "mark-name-it"].map(byId), fill];

  async function leave(kind) {
    const named = name.value.trim() || null;
    const measured = area.value.trim() || null;
    if (kind === "name" && !named && !measured) {
      complain("Write a name or an area first.");
      return;
    }
    await send(kind, named, async () => {
      if (kind === "end" && named) await post(stopAddress, { kind: "name", name: named });
      const called = kind === "end" ? null : named; // an end takes no name
      const said = await post(stopAddress, { kind, name: called, area: measured });
      name.value = area.value = "";
      return said;
    });
  }

  async function send(what, named, posted) {
    fault.hidden = true;
    buttons.forEach((button) => (button.disabled = true));
    try {
      const said = await posted();
      sheet.close();
      const later = said.daemon ? "" : "; it is taken up when logging starts";
      tell(`${DONE[what]}${named ? `: ${named}` : ""}${later}`);
    } catch (error) {
      complain(error.message);
    } finally {
      buttons.forEach((button) => (button.disabled = false));
    }
  }

  function complain(sentence) {
    write(fault, sentence);
    fault.hidden = false;
    fault.scrollIntoView({ block: "nearest" });
  }

  byId("mark").addEventListener("click", () => {
    fault.hidden = true;
    sheet.showModal();
  });
  byId("sheet-close").addEventListener("click", () => sheet.close());
  byId("mark-begin").addEventListener("click", () => leave("begin"));
  byId("mark-end").addEventListener("click", () => leave("end"));
  fill.addEventListener("click", () => send("fill", null, () => post(fillAddress, { volume: null })));
  byId("sheet-form").addEventListener("submit", (event) => {
    event.preventDefault();
    leave("name");
  });

  /** Say which stop is in work. */
  return function show(state) {
    const stop = state?.stop;
    const mark = state?.mark;
    let now = "No stop yet.";
    if (mark) {
      const area = mark.area ? `, ${mark.area}` : "";
      now = `Begun: ${mark.name ?? "a stop without a name"}${area}.`;
    } else if (stop) {
      now = `Last: stop ${stop.number ?? ""}${stop.name ? `, ${stop.name}` : ""}.`;
    }
    write(byId("sheet-now"), now);
    fill.hidden = !state?.tank;
    write(byId("area-example"), state?.rig.units === "metric" ? "1200 m2" : "12000 ft2");
  };
}
