// The code in the address that the terminal shows as a square: taken out of the address at once,
// so that it stays in no history, and sent as if it had been typed.
const form = document.getElementById("code-form");
const input = document.getElementById("code");
const code = decodeURIComponent(location.hash.slice(1));

if (code) {
  history.replaceState(null, "", location.pathname);
  // After a wrong code the same address would be tried again and again.
  if (!document.getElementById("code-message")) {
    input.value = code;
    form.requestSubmit();
  }
}
