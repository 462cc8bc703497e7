// While routes are still added up: look again, and say how far it is, until the page is whole.
const bar = document.querySelector("[data-pending] progress");

async function look() {
  try {
    const answer = await fetch("/api/routes");
    const { pending } = await answer.json();
    if (!pending) {
      location.reload();
      return;
    }
    bar.value = bar.max - pending;
  } catch {
    // The next look may find it again.
  }
  setTimeout(look, 1000);
}

setTimeout(look, 700);
