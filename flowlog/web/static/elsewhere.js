// On all other pages: while the rig sprays, an alert that needs a stop is not missed because the
// wrong page is open. One question every few seconds, and only while somebody looks.

const EVERY_MS = 4000;
const link = document.getElementById("elsewhere");

async function ask() {
  if (document.visibilityState !== "visible") return;
  const answer = await fetch("/api/live", { cache: "no-store" }).catch(() => null);
  if (!answer?.ok) return;
  const state = await answer.json();
  const running = state.daemon && state.freshness === "live";
  const worst = running && state.alerts.find((one) => one.urgency === "stop" && !one.acknowledged);
  const text = worst ? `STOP: ${worst.title}` : "";
  if (link.lastElementChild.textContent !== text) link.lastElementChild.textContent = text;
  link.hidden = !worst;
}

setInterval(ask, EVERY_MS);
document.addEventListener("visibilitychange", ask);
