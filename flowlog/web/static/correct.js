// Corrections: what the forms say is posted; the page is then shown as the route is now.

const says = document.querySelector("#correction-says");

async function post(address, body) {
  const answer = await fetch(address, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body),
  });
  const told = await answer.json();
  if (!answer.ok) {
    throw new Error(told.error);
  }
  return told;
}

function tell(text) {
  says.textContent = text;
  says.hidden = false;
  says.scrollIntoView({ block: "nearest" });
}

function place(option) {
  return { segment: Number(option.dataset.segment), t_us: Number(option.dataset.time) };
}

function aboutStop(form, kind) {
  const stop = form.elements.stop.selectedOptions[0];
  const body = { kind, at: place(stop) };
  if (kind === "rename") {
    body.name = form.elements.name.value.trim() || null;
  } else if (kind === "area") {
    body.area = form.elements.area.value.trim() || null;
  } else if (kind === "split") {
    const pause = splitOf(form).selectedOptions[0];
    body.split = pause.dataset.time ? place(pause) : form.elements.time.value.trim();
  }
  return body;
}

function said(form, kind) {
  switch (form.dataset.correct) {
    case "stop":
      return aboutStop(form, kind);
    case "tips":
      return { kind, note: form.elements.note.value.trim() };
  }
  if (kind === "as-watched") {
    return { kind: "calibrations", numbers: null };
  }
  const chosen = [...form.querySelectorAll("select")].map((one) => one.value).filter(Boolean);
  return { kind, numbers: chosen.map(Number) };
}

function splitOf(form) {
  return form.querySelector(`select[data-of="${form.elements.stop.value}"]`);
}

// The name and the pauses that are offered are those of the stop that is chosen.
function followStop(form) {
  const stop = form.elements.stop.selectedOptions[0];
  form.elements.name.value = stop.dataset.name;
  for (const one of form.querySelectorAll("select[data-of]")) {
    one.hidden = one.dataset.of !== stop.value;
  }
  followSplit(form);
}

function followSplit(form) {
  const chosen = splitOf(form).selectedOptions[0];
  form.querySelector("[data-other-time]").hidden = Boolean(chosen.dataset.time);
}

async function send(number, body, button) {
  button.disabled = true;
  says.hidden = true;
  try {
    const told = await post(`/api/routes/${number}/corrections`, body);
    if (told.stored) {
      location.reload();
      return;
    }
    tell("It is left for the daemon, which has not taken it yet. Look again in a while.");
  } catch (fault) {
    tell(fault.message);
  }
  button.disabled = false;
}

export function listen(number) {
  for (const form of document.querySelectorAll("[data-correct]")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      send(number, said(form, event.submitter.value), event.submitter);
    });
    if (form.dataset.correct === "stop") {
      form.elements.stop.addEventListener("change", () => followStop(form));
      for (const one of form.querySelectorAll("select[data-of]")) {
        one.addEventListener("change", () => followSplit(form));
      }
      followStop(form);
    }
  }
  for (const button of document.querySelectorAll("[data-undo]")) {
    const body = { kind: "undo", number: Number(button.dataset.undo) };
    button.addEventListener("click", () => send(number, body, button));
  }
}

// A route that is to be derived anew: begin, say how far it is, show it when it is done.
export async function followDerivation(number) {
  const notice = document.querySelector("[data-derive]");
  if (!notice) {
    return;
  }
  const bar = notice.querySelector("progress");
  const text = notice.querySelector("[data-derive-says]");
  const address = `/api/routes/${number}/derive`;
  bar.hidden = false;
  for (let first = true; ; first = false) {
    let work;
    try {
      work = first ? await post(address, {}) : await (await fetch(address)).json();
    } catch (fault) {
      text.textContent = fault.message;
      bar.hidden = true;
      return;
    }
    if (work.state === "done") {
      location.reload();
      return;
    }
    if (work.state === "failed") {
      text.textContent = work.failed;
      bar.hidden = true;
      return;
    }
    bar.value = work.share;
    text.textContent = `it is being derived, ${Math.round(100 * work.share)} % so far`;
    await new Promise((resolve) => setTimeout(resolve, 500));
  }
}
