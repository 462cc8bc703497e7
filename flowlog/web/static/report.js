// Links to reports (`a[data-report]`): one takes some seconds, and this says that it is coming.
// Without this script they are links like others.

const told = document.querySelector("[data-report-status]");

/** @param {string} text what is said to those who wait; empty takes it away */
function say(text) {
  if (!told) return;
  told.hidden = text === "";
  told.textContent = text;
}

function counting() {
  const begun = Date.now();
  const tell = () => say(`The report is being made (${Math.round((Date.now() - begun) / 1000)} s) …`);
  const timer = setInterval(tell, 1000);
  tell();
  return () => clearInterval(timer);
}

async function save(link) {
  const stop = counting();
  link.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(link.href);
    if (!answer.ok) throw new Error(String(answer.status));
    const named = /filename="([a-z0-9.-]+)"/.exec(answer.headers.get("Content-Disposition") ?? "");
    const address = URL.createObjectURL(await answer.blob());
    const file = document.createElement("a");
    file.href = address;
    file.download = named ? named[1] : "report.pdf";
    document.body.append(file);
    file.click();
    file.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
    say("The report is saved.");
  } catch {
    say("The report could not be made. Try again; the program's log says more.");
  } finally {
    stop();
    link.removeAttribute("aria-busy");
  }
}

for (const link of document.querySelectorAll("a[data-report]")) {
  link.addEventListener("click", (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) return;
    if (link.pathname.endsWith(".pdf")) {
      event.preventDefault();
      if (link.getAttribute("aria-busy") !== "true") save(link);
    } else {
      const stop = counting();
      // The browser goes there by itself; who comes back finds the page as it was.
      addEventListener("pagehide", () => { stop(); say(""); }, { once: true });
    }
  });
}
