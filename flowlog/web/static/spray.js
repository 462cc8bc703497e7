// The page while spraying: draws each new picture of the rig. Why it is so: design.md.

import { makeAlerts } from "./alert.js";
import { checkAccess, follow, post } from "./feed.js";
import { makeScale } from "./scale.js";
import { soundButton } from "./sound.js";
import { makeStopSheet } from "./stop.js";
import { duration, offBy, write } from "./words.js";

const STREAM = "/api/live/stream";
const STATE = "/api/live";
const STOP = "/api/live/stop";
const FILL = "/api/live/fill";
const SEEN = "/api/live/acknowledge";
const DONE_FOR_MS = 8000;
const ASK_AGAIN_MS = 4000;

const byId = (id) => document.getElementById(id);
const PHASES = { off: "Boom shut", settling: "Opening", spraying: "Spraying", draining: "Draining" };

const scales = Object.fromEntries(
  ["rate", "flow", "pressure"].map((name) => [
    name,
    makeScale(byId(`${name}-scale`), name[0].toUpperCase() + name.slice(1)),
  ]),
);
const say = (text) => write(byId("say"), text);
const showAlerts = makeAlerts((id) => post(SEEN, { alert: id }), say);
const showSheet = makeStopSheet(STOP, FILL, tell);
soundButton(byId("sound"), byId("sound-word"));

let done = null; // what was done a moment ago
function tell(text) {
  done = text;
  say(text);
  setTimeout(() => {
    if (done === text) done = null;
  }, DONE_FOR_MS);
}

/** What stands where one looks first: the word, why, and how bad it is. */
function verdict({ state, why, ageS, away, fresh }) {
  if (away && !state) return ["connecting", "The rig's computer has not answered yet.", "none"];
  if (away) {
    return ["no connection", "This phone does not reach the rig's computer. It tries again.", "none"];
  }
  if (!state) return ["no data yet", why, "none"];
  if (!state.daemon) {
    return ["logging stopped", "Nothing is recorded: start flowlog run on the rig.", "none"];
  }
  if (ageS === null) return ["no data yet", state.advice, "none"];
  if (fresh !== "live") {
    const advice = state.advice || "Nothing comes from the board: look at its cable.";
    return [`no data for ${duration(ageS)}`, advice, "none"];
  }
  const { rate, phase } = state;
  if (rate.off === null || rate.off === undefined) {
    if (phase === "spraying") return ["not measured", "The flow sensor says nothing.", "attend"];
    return [(PHASES[phase] ?? "").toLowerCase(), "No rate.", "good"];
  }
  const stop = state.alerts.some((alert) => alert.urgency === "stop");
  if (rate.verdict === "on rate") {
    // The mean of the boom may be right while one strip stays bare.
    return [stop ? "on rate overall" : "on rate", speedWords(rate), "good"];
  }
  return [offBy(rate.off), speedWords(rate), rate.verdict.startsWith("too") ? "far" : "attend"];
}

const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1);

function speedWords(rate) {
  return rate.speed === "measured" ? "At the measured speed." : "At the calibrated speed.";
}

function drawQuantity(name, shown, fresh, pointed, digits) {
  write(byId(`${name}-value`), fresh === "none" ? "--" : shown.text);
  write(byId(`${name}-unit`), shown.unit);
  const written = (number) => (number === null ? "" : number.toFixed(digits));
  const target = shown.target ?? null;
  scales[name]({
    value: fresh === "none" || !pointed ? null : shown.value,
    text: `${shown.text} ${shown.unit}`,
    low: shown.low,
    high: shown.high,
    target,
    ends: [written(shown.low), written(target), written(shown.high)],
  });
}

function word(element, text, attend) {
  write(element, text);
  element.toggleAttribute("data-attend", attend);
}

function flowWord(flow) {
  if (flow.value === null) return ["not measured", true];
  if (flow.value < flow.low || flow.value > flow.high) {
    return [offBy(flow.value / flow.target - 1), true];
  }
  return ["as expected", false];
}

function drawTank(tank, fresh) {
  byId("tank").hidden = !tank;
  if (!tank) return;
  const known = fresh !== "none" && tank.value !== null;
  write(byId("tank-value"), known ? tank.text : "--");
  write(byId("tank-unit"), known ? `${tank.unit} of ${tank.full}` : tank.unit);
  word(byId("tank-word"), known && tank.low ? "low" : "", known && tank.low);
  const minutes = tank.minutes === null ? "" : `${Math.floor(tank.minutes)} min, `;
  write(byId("tank-reach"), known ? `lasts ${minutes}${tank.area_text}` : "");
}

function drawSums(row, title, sums) {
  const cells = [title, sums?.area, sums?.volume, sums?.rate];
  cells.forEach((text, i) => write(row.children[i], text ?? "--"));
}

function draw(picture) {
  const { state, ageS, fresh, away } = picture;
  document.body.dataset.fresh = fresh;
  const [said, why, how] = verdict(picture);
  write(byId("verdict-word"), said);
  write(byId("reason"), done ?? sentence(why));
  document.querySelector(".rate").dataset.verdict = how;
  announce(said, how);
  write(byId("age"), fresh === "live" ? "now" : ageS === null ? "no data" : `${duration(ageS)} old`);
  if (state) drawState(state, fresh);
  const ago = state && ageS !== null && state.age_s !== null ? ageS - state.age_s : 0;
  const now = state?.rate.text && fresh === "live" ? `Rate ${state.rate.text}, ${said}` : said;
  showAlerts(state, ago, away || fresh !== "live" ? said : now);
  showSheet(state);
}

function drawState(state, fresh) {
  const phase = fresh === "none" ? "none" : state.phase;
  byId("boom").dataset.phase = phase ?? "none";
  write(byId("boom-word"), PHASES[phase] ?? "Boom ?");
  write(byId("place"), state.stop?.name ?? state.rig.name);
  const judged = state.phase === "spraying" && fresh !== "none";
  const digits = state.rig.units === "metric" ? [0, 2, 1] : [2, 2, 0];
  drawQuantity("rate", state.rate, fresh, judged, digits[0]);
  drawQuantity("flow", state.flow, fresh, judged, digits[1]);
  drawQuantity("pressure", state.pressure, fresh, judged, digits[2]);
  write(byId("rate-target"), state.rate.target.toFixed(digits[0]));
  word(byId("flow-word"), ...(judged ? flowWord(state.flow) : ["", false]));
  const pressed = state.pressure.verdict;
  const missing = judged && state.pressure.value === null;
  word(
    byId("pressure-word"),
    missing ? "not measured" : ((judged && pressed) || ""),
    missing || (judged && !!pressed && pressed !== "in band"),
  );
  drawTank(state.tank, fresh);
  drawSums(byId("stop"), state.stop?.number ? `Stop ${state.stop.number}` : "Stop", state.stop);
  drawSums(byId("route"), "Route", state.route);
}

// Only a change of kind is announced: a voice that reads every percent is switched off.
let announced = "";
function announce(said, how) {
  const kind = how === "none" ? said.replace(/ for .*/, "") : how === "good" ? said : said.split(" ")[0];
  if (kind === announced) return;
  announced = kind;
  say(said);
}

// A stream that breaks does not say why; a code that is no longer taken needs the code page.
let asked = performance.now();
follow(STREAM, (picture) => {
  if (picture.away && performance.now() - asked > ASK_AGAIN_MS) {
    asked = performance.now();
    checkAccess(STATE);
  }
  draw(picture);
});
