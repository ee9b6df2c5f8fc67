// A page of the desk in: kept up to date with what other pages and the program do, and a player for what is listened to.
// Everything else works without it.

/** @typedef {{ revision: number, job: { percent: number | null } | null, words: string | null }} Pulse */

const body = document.body;
const shown = Number(body.dataset.revision ?? "0");
/** Whether a person has begun to fill in a form: then the page is not loaded again over it. */
let begun = false;

document.addEventListener("input", (event) => {
  const target = event.target;
  if (target instanceof Element && target.closest('form[method="post"]')) begun = true;
});

/** @param {Pulse} pulse */
function tell(pulse) {
  const words = document.getElementById("job-words");
  if (words && pulse.words && words.textContent !== pulse.words) words.textContent = pulse.words;
  const percent = document.getElementById("job-percent");
  if (percent instanceof HTMLProgressElement && pulse.job) percent.value = pulse.job.percent ?? 0;
}

function changed() {
  if (!begun) {
    location.reload();
    return;
  }
  if (document.getElementById("changed")) return;
  const note = document.createElement("p");
  note.id = "changed";
  note.setAttribute("role", "status");
  note.append("Something changed meanwhile. ");
  const again = document.createElement("a");
  again.href = location.href;
  again.textContent = "Load the page again";
  again.addEventListener("click", (event) => {
    event.preventDefault();
    location.reload();
  });
  note.append(again);
  document.getElementById("main")?.prepend(note);
}

async function beat() {
  let pause = 2000;
  try {
    const answer = await fetch("/pulse");
    if (answer.ok) {
      /** @type {Pulse} */
      const pulse = await answer.json();
      document.getElementById("gone")?.remove();
      tell(pulse);
      if (pulse.revision !== shown) changed();
      if (pulse.job) pause = 500;
    }
  } catch {
    if (!document.getElementById("gone")) {
      const note = document.createElement("p");
      note.id = "gone";
      note.setAttribute("role", "alert");
      note.textContent = "The desk does not answer: the program was ended. Start it again; nothing is lost.";
      document.getElementById("main")?.prepend(note);
    }
  }
  setTimeout(beat, document.hidden ? 5000 : pause);
}
setTimeout(beat, 500);

/** What is seen is what is listened to: channels, place and the middle of the view. */
function listen() {
  const form = document.getElementById("listen");
  const player = document.getElementById("player");
  const seams = document.getElementById("seams");
  if (!(form instanceof HTMLFormElement) || !(player instanceof HTMLAudioElement) || !seams) return;
  /** @param {string} name */
  const chosen = (name) => {
    const select = seams.querySelector(`select[name="${name}"]`);
    return select instanceof HTMLSelectElement ? select.value : "1";
  };
  /** @param {string} name @param {string} value */
  const set = (name, value) => {
    const field = form.elements.namedItem(name);
    if (field instanceof HTMLInputElement) field.value = value;
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const view = new URLSearchParams(location.hash.slice(1));
    const from = Number(view.get("from") ?? seams.dataset.from ?? "0");
    const to = Number(view.get("to") ?? seams.dataset.until ?? "0");
    const seconds = Number(new FormData(form).get("seconds"));
    const middle = (from + to) / 2 - (seconds * Number(seams.dataset.rate)) / 2;
    set("lead", chosen("lead-channel"));
    set("unit", chosen("follower"));
    set("channel", chosen("follower-channel"));
    set("from", String(Math.max(Number(seams.dataset.from), middle)));
    const query = new URLSearchParams();
    for (const [name, value] of new FormData(form)) query.set(name, String(value));
    player.src = `/listen?${query}`;
    void player.play();
  });
}
listen();
