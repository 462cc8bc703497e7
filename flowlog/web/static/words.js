// Durations and shares in words, as the terminal says them.

/** `12 s`, `3 min 05 s`, `2 h 07 min` */
export function duration(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const two = (number) => String(number).padStart(2, "0");
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${two(whole % 60)} s`;
  if (whole < 360000) return `${Math.floor(whole / 3600)} h ${two(Math.floor(whole / 60) % 60)} min`;
  return `${Math.floor(whole / 86400)} d ${two(Math.floor(whole / 3600) % 24)} h`;
}

/** `low by 12 %`, `high by 3 %`; for a share that is off by this much */
export function offBy(share) {
  const size = Math.min(999, Math.round(100 * Math.abs(share)));
  return `${share < 0 ? "low" : "high"} by ${size} %`;
}

/** Set a text only where it differs: nothing is announced or laid out anew for nothing. */
export function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
