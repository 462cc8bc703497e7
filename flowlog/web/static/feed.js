// The live state as it comes from the rig's computer, and how much it can be trusted now.
//
// The age of what is shown is counted here, too: a rig that can't be reached sends no word that it
// can't. Two clocks are asked, since one of them stands still on some phones while they sleep.

const LATE_AFTER_S = 3; // as on the terminal: two readings in a row are missing
const GONE_AFTER_S = 10; // from here on the last value says nothing about now
const SILENT_AFTER_S = 2.7; // the server sends something at least every two seconds
const AGAIN_AFTER_MS = 1000;
const TICK_MS = 200;

const clocks = () => [performance.now(), Date.now()];
const since = (then) => Math.max(...clocks().map((now, i) => (now - then[i]) / 1000));

/**
 * Follow the state; reconnects by itself, at once when the page wakes.
 * @param {string} address of the event stream
 * @param {(picture: {state: object|null, why: string, ageS: number|null, away: boolean,
 *   fresh: "live"|"late"|"none"}) => void} show called with every change and five times a second
 */
export function follow(address, show) {
  let source = null;
  let state = null;
  let heard = null; // when the last message came, by both clocks
  let broken = true;
  let again = 0;

  function open() {
    clearTimeout(again);
    again = 0;
    source?.close();
    source = new EventSource(address);
    source.addEventListener("state", (event) => hear(JSON.parse(event.data)));
    source.addEventListener("beat", (event) => hear({ ...state, ...JSON.parse(event.data) }));
    source.onerror = () => {
      // Closed by hand and opened again, because a browser gives up after some answers.
      broken = true;
      source.close();
      if (!again) again = setTimeout(open, AGAIN_AFTER_MS);
      tick();
    };
  }

  function hear(news) {
    state = news;
    heard = clocks();
    broken = false;
    tick();
  }

  function tick() {
    const silentS = heard ? since(heard) : Infinity;
    const away = broken || silentS > SILENT_AFTER_S;
    if (away && !broken && source.readyState === EventSource.OPEN) {
      // Open by its own account, and silent: the network went without a farewell.
      broken = true;
      open();
    }
    const ageS = state && state.age_s !== null ? state.age_s + silentS : null;
    let fresh = "live";
    if (away || !state.daemon || ageS > LATE_AFTER_S) fresh = "late";
    if (!state?.rig || ageS === null || ageS > GONE_AFTER_S) fresh = "none";
    show({ state: state?.rig ? state : null, why: state?.error ?? "", ageS, away, fresh });
  }

  function wake() {
    if (document.visibilityState === "visible" && heard && since(heard) > 1.5) {
      broken = true; // what is on the screen is from before the sleep, until there is news
      open();
      tick();
    }
  }

  document.addEventListener("visibilitychange", wake);
  document.addEventListener("resume", wake);
  addEventListener("pageshow", wake);
  addEventListener("online", open);
  setInterval(tick, TICK_MS);
  open();
  tick();
}

/** Whether this phone's code is still taken; if not, the code page is shown. */
export async function checkAccess(address) {
  const answer = await fetch(address, { cache: "no-store" }).catch(() => null);
  if (answer && (answer.status === 401 || answer.redirected)) location.assign("/code");
}

/** Post JSON; gives the answer's object. @throws {Error} with a sentence for a person */
export async function post(address, body) {
  let answer;
  try {
    answer = await fetch(address, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(5000),
    });
  } catch {
    throw new Error("The rig's computer does not answer: nothing was kept. Try again.");
  }
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(said.error ?? `Not taken (${answer.status}).`);
  return said;
}
