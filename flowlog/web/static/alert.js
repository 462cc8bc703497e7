// Alerts: the worst unseen one takes the screen; what was seen stays as a strip until it is over.

import { call } from "./sound.js";
import { duration, write } from "./words.js";

const KEPT = "flowlog.seen";
const DEAD_MS = 700; // a tap so soon after an alert came up was meant for something else
const CLEARED_FOR_S = 20;
const SIGN = { stop: "STOP", look: "LOOK", note: "NOTE" };

/** Never a hundred percent: these sensors can't know that. */
function howSure(probability) {
  if (!probability) return "";
  return probability > 0.99 ? "more than 99 % sure" : `${Math.round(100 * probability)} % sure`;
}

const byId = (id) => document.getElementById(id);

/**
 * @param {(id: string) => Promise<unknown>} acknowledge tells the rig
 * @param {(text: string) => void} say tells those who cannot see
 */
export function makeAlerts(acknowledge, say) {
  const dialog = byId("alert");
  const strips = byId("strips");
  /** Of each alert that somebody has seen: how much news there was then. */
  const seen = new Map(JSON.parse(sessionStorage.getItem(KEPT) ?? "[]"));
  let shown = null; // the alert on the screen
  let opened = null; // the id of a seen one that was opened again from its strip
  let shownAt = 0;
  let all = [];

  const title = document.title;

  function keep(alert) {
    seen.set(alert.id, alert.news);
    sessionStorage.setItem(KEPT, JSON.stringify([...seen].slice(-50)));
  }

  /** An alert that grew since it was seen has to be seen again: what was seen was smaller. */
  function isSeen(alert) {
    if (alert.acknowledged && !seen.has(alert.id)) keep(alert);
    return seen.get(alert.id) === alert.news;
  }

  function dismiss() {
    if (!shown || performance.now() - shownAt < DEAD_MS) return;
    const { id } = shown;
    if (id === opened) {
      opened = null;
    } else {
      keep(shown);
      // It is out of the way here even if the rig can't be told: a hand is needed elsewhere now.
      acknowledge(id).catch(() => {});
    }
    choose();
  }

  byId("alert-seen").addEventListener("click", dismiss);
  dialog.addEventListener("cancel", (event) => {
    event.preventDefault();
    dismiss();
  });
  dialog.addEventListener("close", () => shown && setTimeout(choose));

  function choose() {
    const unseen = all.filter((alert) => alert.urgency !== "note" && !isSeen(alert));
    let front = unseen.find((alert) => alert.id === shown?.id);
    if (!front || front.urgency !== unseen[0].urgency) front = unseen[0];
    front ??= all.find((alert) => alert.id === opened);
    if (!front) opened = null;
    call(unseen.length ? unseen[0].urgency : null);
    document.title = unseen.length ? `${SIGN[unseen[0].urgency]}: ${unseen[0].title}` : title;
    if (!front) {
      shown = null;
      if (dialog.open) dialog.close();
      return;
    }
    const fresh = front.id !== shown?.id;
    shown = front;
    fill(front, unseen);
    if (fresh) {
      shownAt = performance.now();
      dialog.scrollTop = 0;
    }
    if (!dialog.open) dialog.showModal();
    if (fresh) byId("alert-title").focus();
  }

  function fill(alert, unseen) {
    dialog.dataset.urgency = alert.urgency;
    write(byId("alert-call"), SIGN[alert.urgency]);
    write(byId("alert-title"), alert.title);
    write(byId("alert-text"), alert.text);
    const sure = alert.sure || howSure(alert.probability);
    write(byId("alert-sure"), sure);
    byId("alert-sure").hidden = !sure;
    const list = byId("alert-checks");
    if (list.dataset.of !== alert.id) {
      list.dataset.of = alert.id;
      list.replaceChildren(
        ...alert.checks.map((check) => {
          const item = document.createElement("li");
          item.append(Object.assign(document.createElement("span"), { textContent: check }));
          return item;
        }),
      );
      list.parentElement.hidden = !alert.checks.length;
    }
    const others = all.filter((other) => other.id !== alert.id);
    const count = others.length === 1 ? "1 more alert is open" : `${others.length} more are open`;
    write(
      byId("alert-more"),
      others.length ? `${count}: ${others.map((other) => other.title).join(", ")}` : "",
    );
    write(byId("alert-seen"), unseen.includes(alert) ? "I have seen it" : "Back");
  }

  function strip(key, tag) {
    let found = [...strips.children].find((child) => child.dataset.key === key);
    if (!found) {
      found = document.createElement(tag);
      found.dataset.key = key;
      const [sign, what, when] = ["b", "span", "span"].map((name) => document.createElement(name));
      when.className = "strip-since";
      found.append(sign, what, when);
      if (tag === "button") {
        found.type = "button";
        found.addEventListener("click", () => {
          opened = key;
          choose();
        });
      }
      strips.append(found);
    }
    return found;
  }

  function fillStrip(element, kind, word, text, time) {
    element.className = `strip strip--${kind}`;
    const [sign, what, when] = element.children;
    sign.className = `state state--${kind}`;
    write(sign, word);
    write(what, text);
    write(when, time);
  }

  function showStrips(cleared, agoS) {
    const low = all.filter((alert) => isSeen(alert) || alert.urgency === "note");
    const kept = new Set();
    low.slice(0, 2).forEach((alert, i) => {
      const more = i === 1 && low.length > 2 ? `, and ${low.length - 2} more` : "";
      kept.add(alert.id);
      const since = alert.since_s === null ? "" : duration(alert.since_s + agoS);
      fillStrip(strip(alert.id, "button"), alert.urgency, SIGN[alert.urgency], alert.title + more, since);
    });
    for (const alert of cleared) {
      if (alert.ago_s + agoS > CLEARED_FOR_S) continue;
      const key = `over ${alert.id}`;
      kept.add(key);
      const known = [...strips.children].some((child) => child.dataset.key === key);
      fillStrip(strip(key, "div"), "over", "Cleared", alert.title, "");
      if (!known) say(`Cleared: ${alert.title}`);
    }
    for (const child of [...strips.children]) if (!kept.has(child.dataset.key)) child.remove();
  }

  /**
   * @param {object|null} state
   * @param {number} agoS how long ago the state came
   * @param {string} now what the rate is, or what is wrong with the data, in a few words
   */
  return function show(state, agoS, now) {
    all = state?.alerts ?? all;
    choose();
    if (shown) {
      const s = shown.since_s;
      write(byId("alert-since"), s === null ? "began at an unknown time" : `for ${duration(s + agoS)}`);
      write(byId("alert-now"), now);
    }
    showStrips(state?.cleared ?? [], agoS);
  };
}
