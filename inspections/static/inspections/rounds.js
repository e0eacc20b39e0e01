// The board: places what the server drew on the time axis, and moves stops by keyboard and mouse. The server decides
// where a stop comes to stand and answers the whole board; this file keeps no plan of its own but the way back.
import { _ } from "./words.js";

const board = document.getElementById("board");
const spoken = document.getElementById("spoken");
const mover = document.getElementById("mover");
const wide = window.matchMedia("(min-width: 901px)");
const SNAP_MINUTES = 5;
const ROW_PX = 48; // one row of a lane that needs several
const back = []; // what Escape takes back, the last move on top
let busy = false;

function place() {
  board.querySelector(".board")?.classList.add("placed");
  for (const each of board.querySelectorAll("[data-left]")) {
    each.style.left = wide.matches ? `${each.dataset.left}%` : "";
    if (each.dataset.width) each.style.width = wide.matches ? `${each.dataset.width}%` : "";
    if (each.dataset.row) each.style.top = wide.matches ? `${8 + ROW_PX * each.dataset.row}px` : "";
  }
  for (const track of board.querySelectorAll("[data-rows]")) {
    track.style.minHeight = wide.matches ? `${Math.max(92, 16 + ROW_PX * track.dataset.rows)}px` : "";
  }
}

function say(words) {
  // The same words twice are spoken twice only if the region was empty in between.
  spoken.textContent = "";
  window.setTimeout(() => { spoken.textContent = words; }, 30);
}

function token() {
  return JSON.parse(document.body.getAttribute("hx-headers"))["x-csrftoken"];
}

const laneOf = (stop) => stop.closest(".lane");
const whereIs = (stop) => ({
  shift: laneOf(stop).dataset.shift,
  position: stop.dataset.position,
  not_before: stop.dataset.notBefore,
});

async function send(stop, address, values, keeps = true) {
  if (busy) return;
  busy = true;
  board.setAttribute("aria-busy", "true");
  const before = whereIs(stop);
  const { key } = stop.dataset;
  try {
    const answer = await fetch(address, {
      method: "POST",
      headers: { "x-csrftoken": token() },
      body: new URLSearchParams(values),
    });
    if (answer.status === 404) {
      say(_("The plan was laid anew meanwhile. Load the page again."));
      return;
    }
    if (answer.status === 401 || answer.status === 403) {
      const words = _("Your sign-in has ended: nothing was moved. Load the page again.");
      say(words);
      show(words);
      return;
    }
    const told = await answer.json();
    say(told.spoken);
    if (!answer.ok) {
      show(told.spoken);
      return;
    }
    board.innerHTML = told.html;
    place();
    if (told.moved) {
      // Stops are written anew with each move: what stays the same is which checks they hold.
      if (keeps) back.push({ key, ...before });
      focusOn(told.moved);
    }
  } catch {
    say(_("No answer from the server: nothing was moved."));
    show(_("No answer from the server: nothing was moved."));
  } finally {
    busy = false;
    board.removeAttribute("aria-busy");
  }
}

function show(words) {
  // A refusal is seen too, not only spoken.
  let line = document.getElementById("refused");
  if (!line) {
    line = document.createElement("p");
    line.id = "refused";
    line.className = "says warning";
    board.before(line);
  }
  line.textContent = words;
  window.setTimeout(() => line.remove(), 8000);
}

function focusOn(pk) {
  board.querySelector(`[data-stop="${pk}"]`)?.focus();
}

const move = (stop, values, keeps) => send(stop, `/rounds/stops/${stop.dataset.stop}/move/`, values, keeps);

function takeBack() {
  const last = back.pop();
  if (!last) {
    say(_("Nothing to take back."));
    return;
  }
  const stop = board.querySelector(`[data-key="${last.key}"]`);
  if (!stop) {
    say(_("That stop was moved by somebody else meanwhile."));
    return;
  }
  const { shift, position, not_before } = last;
  move(stop, not_before ? { shift, position, not_before } : { shift, position }, false);
}

function choosePerson(stop) {
  const others = [...board.querySelectorAll(".lane[data-shift]")].filter(
    (lane) => lane !== laneOf(stop) && !("away" in lane.dataset),
  );
  document.getElementById("mover-title").textContent = stop.getAttribute("aria-label");
  const people = document.getElementById("mover-people");
  people.replaceChildren(...others.map((lane) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = `${lane.dataset.who} ${lane.querySelector(".num").textContent}`;
    button.addEventListener("click", () => {
      mover.close();
      move(stop, { shift: lane.dataset.shift });
    });
    return button;
  }));
  mover.stop = stop;
  mover.showModal();
  (people.querySelector("button") ?? mover.querySelector("[data-step]")).focus();
}

mover?.addEventListener("click", (event) => {
  const button = event.target.closest("[data-step], [data-out]");
  if (!button) return;
  const stop = mover.stop;
  mover.close();
  if (button.dataset.step) move(stop, { step: button.dataset.step });
  else send(stop, `/rounds/stops/${stop.dataset.stop}/out/`, {}, false);
});
mover?.addEventListener("close", () => mover.stop?.isConnected && mover.stop.focus());

board.addEventListener("keydown", (event) => {
  const stop = event.target.closest("[data-stop]");
  if (!stop || !mover || event.ctrlKey || event.altKey || event.metaKey) return;
  const acts = {
    ArrowLeft: () => move(stop, { step: "earlier" }),
    ArrowRight: () => move(stop, { step: "later" }),
    m: () => choosePerson(stop),
    M: () => choosePerson(stop),
    Escape: takeBack,
  };
  const neighbour = { ArrowUp: -1, ArrowDown: 1 } [event.key];
  if (neighbour) {
    // Up and down walk from stop to stop through all lanes, as Tab does.
    const all = [...board.querySelectorAll("[data-stop]")];
    all[all.indexOf(stop) + neighbour]?.focus();
  } else if (acts[event.key]) {
    acts[event.key]();
  } else {
    return;
  }
  event.preventDefault();
});

board.addEventListener("click", (event) => {
  const stop = event.target.closest("[data-stop]");
  if (stop && mover && !stop.dragged) choosePerson(stop);
  if (stop) stop.dragged = false;
});

// --- By mouse: along the axis in time, to another lane for another person --------------------------------------------
board.addEventListener("pointerdown", (event) => {
  const stop = event.target.closest("[data-stop]");
  if (!stop || !mover || event.button || !wide.matches || stop.getAttribute("aria-disabled")) return;
  const box = stop.parentElement;
  const from = { x: event.clientX, y: event.clientY };
  const grip = event.clientX - box.getBoundingClientRect().left;
  let lane = null;
  const drag = (moving) => {
    const [dx, dy] = [moving.clientX - from.x, moving.clientY - from.y];
    if (!stop.dragged && Math.hypot(dx, dy) < 6) return;
    if (!stop.dragged) stop.setPointerCapture(event.pointerId);
    stop.dragged = true;
    box.classList.add("dragged");
    box.style.transform = `translate(${dx}px, ${dy}px)`;
    lane?.classList.remove("target");
    lane = document.elementsFromPoint(moving.clientX, moving.clientY).find((each) => each.matches?.(".track"))
      ?.closest(".lane[data-shift]") ?? null;
    lane?.classList.add("target");
  };
  const drop = (ended) => {
    stop.removeEventListener("pointermove", drag);
    stop.removeEventListener("pointerup", drop);
    stop.removeEventListener("pointercancel", drop);
    box.classList.remove("dragged");
    box.style.transform = "";
    lane?.classList.remove("target");
    if (!stop.dragged || !lane || ended.type === "pointercancel") return;
    const track = lane.querySelector(".track").getBoundingClientRect();
    const share = Math.min(Math.max((ended.clientX - grip - track.left) / track.width, 0), 1);
    const minutes = Math.round((share * lane.dataset.minutes) / SNAP_MINUTES) * SNAP_MINUTES;
    const at = new Date(Date.parse(lane.dataset.begin) + minutes * 60000);
    move(stop, { shift: lane.dataset.shift, not_before: `${at.toISOString().slice(0, 19)}+00:00` });
  };
  stop.addEventListener("pointermove", drag);
  stop.addEventListener("pointerup", drop);
  stop.addEventListener("pointercancel", drop);
});

wide.addEventListener("change", place);
place();
