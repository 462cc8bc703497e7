// The chart of any window: the server draws it, this asks for the window that hands want to see.

const SHORTEST_S = 10;
const WAIT_MS = 90;

export class Zoom {
  constructor(box, address) {
    this.box = box;
    this.address = address;
    this.begin = Number(box.dataset.begin);
    this.end = Number(box.dataset.end);
    this.length = Math.max(Number(box.dataset.length), SHORTEST_S);
    this.fingers = new Map();
    this.asked = 0;
    this.#buttons();
    this.#keys();
    this.#hands();
    this.wide = 0;
    new ResizeObserver(() => this.#resized()).observe(box);
    this.#say();
  }

  // -- what is shown ---------------------------------------------------------------------------

  show(begin, end) {
    const width = Math.min(Math.max(end - begin, SHORTEST_S), this.length);
    const middle = (begin + end) / 2;
    this.begin = Math.min(Math.max(middle - width / 2, 0), this.length - width);
    this.end = this.begin + width;
    this.#say();
    this.#later();
  }

  zoom(factor, at = (this.begin + this.end) / 2) {
    // What is under the finger stays under it.
    this.show(at - (at - this.begin) * factor, at + (this.end - at) * factor);
  }

  move(share) {
    const by = share * (this.end - this.begin);
    this.show(this.begin + by, this.end + by);
  }

  #later() {
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => this.#draw(), WAIT_MS);
  }

  async #draw() {
    const number = ++this.asked;
    const query = new URLSearchParams({
      from: this.begin.toFixed(3),
      to: this.end.toFixed(3),
    });
    const whole = this.end - this.begin >= this.length - 0.5;
    const shown = whole ? location.pathname : `${location.pathname}?${query}`;
    history.replaceState(null, "", shown + location.hash);
    for (const way of document.querySelectorAll("[data-window]")) {
      way.href = `${way.dataset.window}?${query}`;
    }
    query.set("width", String(this.wide || 720));
    let drawn;
    try {
      const answer = await fetch(`${this.address}?${query}`);
      if (!answer.ok) {
        return;
      }
      drawn = await answer.text();
    } catch {
      this.#tell("The rig's computer does not answer: the chart is the last one.");
      return;
    }
    // An older answer that comes late is not shown.
    if (number === this.asked) {
      const parsed = new DOMParser().parseFromString(drawn, "image/svg+xml");
      this.box.replaceChildren(document.adoptNode(parsed.documentElement));
      this.box.dataset.fitted = "";
    }
  }

  #resized() {
    const wide = Math.min(Math.max(Math.round(this.box.clientWidth), 280), 2400);
    if (wide !== this.wide) {
      this.wide = wide;
      this.#later();
    }
  }

  #say() {
    const seconds = Math.round(this.end - this.begin);
    const hours = Math.floor(seconds / 3600);
    const minutes = Math.floor((seconds % 3600) / 60);
    const parts = [];
    if (hours) parts.push(`${hours} h`);
    if (minutes) parts.push(`${minutes} min`);
    if (!hours && seconds % 60) parts.push(`${seconds % 60} s`);
    this.#tell(`${parts.join(" ")} are shown`);
  }

  #tell(text) {
    document.querySelector("#window").textContent = text;
  }

  // -- buttons, links, keys --------------------------------------------------------------------

  #buttons() {
    const ways = {
      earlier: () => this.move(-0.5),
      later: () => this.move(0.5),
      closer: () => this.zoom(0.5),
      wider: () => this.zoom(2),
      whole: () => this.show(0, this.length),
    };
    for (const button of document.querySelectorAll("[data-way]")) {
      button.addEventListener("click", (event) => {
        event.preventDefault();
        ways[button.dataset.way]();
      });
    }
    for (const link of document.querySelectorAll("[data-show]")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        const window = new URL(link.href).searchParams;
        this.show(Number(window.get("from")), Number(window.get("to")));
        document.querySelector("#chart").scrollIntoView();
        this.box.focus({ preventScroll: true });
      });
    }
  }

  #keys() {
    const keys = {
      ArrowLeft: () => this.move(-0.2),
      ArrowRight: () => this.move(0.2),
      "+": () => this.zoom(0.5),
      "=": () => this.zoom(0.5),
      "-": () => this.zoom(2),
      0: () => this.show(0, this.length),
      Home: () => this.show(0, this.end - this.begin),
      End: () => this.show(this.length - (this.end - this.begin), this.length),
    };
    this.box.addEventListener("keydown", (event) => {
      if (keys[event.key] && !event.ctrlKey && !event.metaKey && !event.altKey) {
        event.preventDefault();
        keys[event.key]();
      }
    });
  }

  // -- mouse and fingers -----------------------------------------------------------------------

  #second(x) {
    const box = this.box.getBoundingClientRect();
    // The panels stand between the numbers at the left and the edge at the right.
    const inner = Math.max(box.width - 72, 1);
    return this.begin + ((x - box.left - 58) / inner) * (this.end - this.begin);
  }

  #hands() {
    const box = this.box;
    box.addEventListener(
      "wheel",
      (event) => {
        // Without a key the wheel scrolls the page, as everywhere.
        if (!event.ctrlKey && !event.shiftKey) {
          return;
        }
        event.preventDefault();
        this.zoom(event.deltaY > 0 ? 1.25 : 0.8, this.#second(event.clientX));
      },
      { passive: false },
    );
    box.addEventListener("pointerdown", (event) => {
      if (event.button === 0) {
        this.fingers.set(event.pointerId, event.clientX);
      }
    });
    box.addEventListener("pointermove", (event) => {
      if (!this.fingers.has(event.pointerId)) {
        return;
      }
      if (!box.hasPointerCapture(event.pointerId)) {
        // Only once it moves: a tap stays a tap.
        box.setPointerCapture(event.pointerId);
        box.classList.add("dragging");
      }
      this.#drag(event);
    });
    for (const end of ["pointerup", "pointercancel"]) {
      box.addEventListener(end, (event) => {
        this.fingers.delete(event.pointerId);
        box.classList.remove("dragging");
      });
    }
    box.addEventListener("dblclick", (event) => this.zoom(0.4, this.#second(event.clientX)));
  }

  #drag(event) {
    const before = [...this.fingers.values()];
    const old = this.fingers.get(event.pointerId);
    this.fingers.set(event.pointerId, event.clientX);
    const now = [...this.fingers.values()];
    if (now.length === 1) {
      const by = this.#second(old) - this.#second(event.clientX);
      this.show(this.begin + by, this.end + by);
    } else if (now.length === 2) {
      const apart = Math.abs(now[0] - now[1]) || 1;
      const was = Math.abs(before[0] - before[1]) || 1;
      this.zoom(was / apart, this.#second((now[0] + now[1]) / 2));
    }
  }
}
