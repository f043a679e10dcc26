// A run on a page: one line to it that is taken up again by itself, a stop that is always in reach.

const { show, forget } = await import(`./run-show.js${new URL(import.meta.url).search}`);

const root = document.getElementById("run");
const session = root.dataset.session;
const bar = document.querySelector(".stopbar");
const line = document.getElementById("line");
const stopForm = document.getElementById("stop-form");
const stopButton = document.getElementById("stop");
const answerForm = document.getElementById("answer");
const leave = document.getElementById("leave");
const take = document.getElementById("take");

const HERE_MS = 2000;
const SILENT_MS = 7000; // the server answers every "here"; a line on which nothing comes is dead
const DOUBT_MS = 1000; // a stop that has shown nothing by then is sent another way as well
const LONGEST_WAIT_MS = 8000;

let socket = null;
let tries = 0;
let over = false;
let pressed = false;
let ended = false;
let heardAt = performance.now();
let saidAt = 0;

function here() {
  saidAt = performance.now();
  send({ do: "here" });
}

function tell(words, lost = false) {
  if (line.textContent !== words) line.textContent = words;
  bar.classList.toggle("lost", lost);
}

function send(message) {
  if (socket?.readyState !== WebSocket.OPEN) return false;
  socket.send(JSON.stringify(message));
  return true;
}

function connect() {
  const address = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/run/${session}/live`;
  const mine = new WebSocket(address);
  socket = mine;
  heardAt = performance.now();
  mine.addEventListener("message", (event) => {
    heardAt = performance.now();
    if (heardAt - saidAt > HERE_MS) here(); // a page in the background has slow clocks
    hear(JSON.parse(event.data));
  });
  mine.addEventListener("open", here);
  mine.addEventListener("close", () => mine === socket && lost());
}

function lost() {
  socket = null;
  if (over) return;
  const wait = Math.min(LONGEST_WAIT_MS, 500 * 2 ** tries++);
  tell("The run goes on; this page has lost it and tries again. To stop at once, use the hardware stop.", true);
  setTimeout(connect, wait);
}

function hear(message) {
  switch (message.event) {
    case "so-far":
      tries = 0;
      tell("Connected.");
      forget();
      for (const one of message.told) show(one);
      for (const one of message.ended) show(one);
      for (const name of ["run-begun", "step-begun"]) if (message.last[name]) show(message.last[name]);
      show({ event: "course", points: message.course });
      if (message.ended.some((one) => one.number === message.last.tripped?.number)) delete message.last.tripped; // cleared since
      for (const name of ["live", "traces", "resting", "tripped", "asked", "leaving", "failed", "run-ended"]) if (message.last[name]) hear(message.last[name]);
      return;
    case "controls":
      tell(message.pages > 1 ? `Connected; ${message.pages} pages watch.` : "Connected.");
      take.hidden = message.held === "mine";
      leave.disabled = message.held !== "mine";
      break;
    case "leaving":
      leave.checked = message.seconds !== null;
      break;
    case "step-begun":
      pressed = false;
      sayStop();
      break;
    case "tripped":
      pressed = false;
      sayStop();
      break;
    case "run-ended":
      ended = true;
      sayStop();
      break;
    case "window-closed":
      closed();
      break;
  }
  show(message);
}

async function closed() {
  if (!ended) {
    // it was over, or cut off, before this page heard so: the archive knows; where nobody answers, the line is what is lost
    const answer = await fetch(location.href).catch(() => null);
    if (answer) location.reload();
    return;
  }
  over = true;
  tell("The run is over.");
  bar.hidden = true;
  document.body.classList.remove("running");
}

function sayStop() {
  const words = ended ? "The run is over" : pressed ? "Stopping" : "Stop the drive";
  if (stopButton.textContent !== words) stopButton.textContent = words;
  stopButton.disabled = ended;
}

async function stop() {
  if (ended || over) return;
  pressed = true;
  sayStop();
  const sent = send({ do: "stop" });
  if (sent) await new Promise((done) => setTimeout(done, DOUBT_MS));
  if (sent && (!pressed || ended || over)) return;
  try {
    const answer = await fetch(stopForm.action, { method: "POST", body: new FormData(stopForm), redirect: "manual" });
    if (answer.status >= 400) throw new Error(answer.statusText);
  } catch {
    pressed = false;
    sayStop();
    tell("The workbench does not answer: this page cannot stop the drive. Use the hardware stop now.", true);
  }
}

stopForm.addEventListener("submit", (event) => {
  event.preventDefault();
  stopButton.removeAttribute("aria-busy");
  stop();
});

// while the run asks something nothing is driven, so that its buttons may be pressed as buttons are
const types = (element) => element?.matches?.("input, textarea, select, [contenteditable], #answer button");

addEventListener(
  "keydown",
  (event) => {
    const space = event.key === " " && !types(event.target);
    if (!space && event.key !== "Escape") return;
    if (ended || over) return;
    event.preventDefault(); // a button under the focus is not pressed as well
    event.stopPropagation();
    if (!event.repeat) stop();
  },
  { capture: true },
);
addEventListener("keyup", (event) => event.key === " " && !types(event.target) && !ended && event.preventDefault(), { capture: true });

answerForm.addEventListener("submit", (event) => {
  event.preventDefault();
  const text = event.submitter?.value || answerForm.elements.namedItem("text")?.value || "";
  if (!send({ do: "answer", id: Number(answerForm.elements.namedItem("id").value), text })) tell("Not connected: the answer is not sent yet. Send it again in a moment.", true);
  for (const button of answerForm.querySelectorAll("button")) button.removeAttribute("aria-busy");
});

take.addEventListener("click", () => send({ do: "take-controls" }));
leave.addEventListener("change", () => send({ do: "leave", seconds: leave.checked ? 10 : null }));
for (const hidden of document.querySelectorAll(".needs-script, .keys")) hidden.hidden = false;

setInterval(() => {
  here();
  if (!socket || performance.now() - heardAt < SILENT_MS) return;
  socket.close(); // which may take long on a dead line
  lost();
}, HERE_MS);
addEventListener("pageshow", (event) => event.persisted && location.reload());
connect();
