// Sound and vibration, once somebody asks for them: two tones in turn for stop, one for look.

const KEPT = "flowlog.sound";
const EVERY_MS = { stop: 1600, look: 3200 };
const TONES = { stop: [880, 622, 880, 622], look: [622] };
const TONE_S = 0.22;
const SHAKE = { stop: [300, 120, 300, 120, 300], look: [250] };

let context = null;
let calling = null; // "stop", "look" or null
let timer = 0;

function play(urgency) {
  navigator.vibrate?.(SHAKE[urgency]);
  if (context?.state !== "running") return;
  TONES[urgency].forEach((hertz, i) => {
    const begin = context.currentTime + i * TONE_S;
    const tone = context.createOscillator();
    const loudness = context.createGain();
    tone.type = "square"; // its overtones come through an engine's noise
    tone.frequency.value = hertz;
    loudness.gain.setValueAtTime(0, begin);
    loudness.gain.linearRampToValueAtTime(0.6, begin + 0.01);
    loudness.gain.setValueAtTime(0.6, begin + TONE_S - 0.03);
    loudness.gain.linearRampToValueAtTime(0, begin + TONE_S);
    tone.connect(loudness).connect(context.destination);
    tone.start(begin);
    tone.stop(begin + TONE_S);
  });
}

/** Call until told otherwise. @param {"stop"|"look"|null} urgency */
export function call(urgency) {
  if (urgency === calling) return;
  calling = urgency;
  clearInterval(timer);
  if (!urgency) {
    navigator.vibrate?.(0);
  } else if (context) {
    play(urgency);
    timer = setInterval(() => play(urgency), EVERY_MS[urgency]);
  }
}

/** The button that turns it on and off; its word says what is. */
export function soundButton(button, word) {
  const wanted = () => localStorage.getItem(KEPT) === "on";

  async function turn(on) {
    if (on) {
      context ??= new AudioContext();
      await context.resume();
    } else {
      await context?.close();
      context = null;
    }
    const again = calling;
    call(null);
    call(again);
    show();
  }

  function show() {
    button.setAttribute("aria-pressed", String(context !== null));
    word.textContent = context ? "on" : wanted() ? "touch" : "off";
  }

  button.addEventListener("click", async () => {
    const on = context === null;
    localStorage.setItem(KEPT, on ? "on" : "off");
    await turn(on);
    if (on) play("look"); // so that one knows how loud it is
  });
  // A browser lets nothing sound before a touch: the first one anywhere brings back what was on.
  document.addEventListener(
    "pointerdown",
    (event) => wanted() && !context && !button.contains(event.target) && turn(true),
  );
  show();
}
