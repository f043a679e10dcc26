// The whole page takes files that are dropped on it, and shows how far large ones are.

const form = document.querySelector("#give");
const chosen = form.querySelector("input[type=file]");
const going = form.querySelector(".going");
const bar = going.querySelector("progress");
const words = going.querySelector("[role=status]");
let depth = 0;

form.querySelector(".anywhere").hidden = false;

function said(text) {
  going.hidden = false;
  words.textContent = text;
}

function send(files) {
  const data = new FormData(form);
  data.delete("files");
  for (const file of files) data.append("files", file, file.name);
  const sending = new XMLHttpRequest();
  sending.upload.addEventListener("progress", (event) => {
    if (!event.lengthComputable) return;
    bar.value = event.loaded / event.total;
    said(`${(event.loaded / 1e6).toFixed(1)} of ${(event.total / 1e6).toFixed(1)} MB`);
  });
  sending.addEventListener("load", () => {
    const answer = new URL(sending.responseURL || location.href);
    if (sending.status < 300 && answer.pathname !== form.getAttribute("action")) return location.assign(answer);
    const page = new DOMParser().parseFromString(sending.responseText, "text/html");
    said((page.querySelector(".fault") ?? page.body).textContent.trim().replace(/\s+/g, " ").slice(0, 400) || "That did not work.");
    form.querySelector("button").removeAttribute("aria-busy");
  });
  sending.addEventListener("error", () => said("The files did not arrive: the workbench ended, or they are larger than it takes. They are still where they were."));
  sending.open("POST", form.action);
  said("The files are on their way.");
  sending.send(data);
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  send(chosen.files);
});

const holdsFiles = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");

document.addEventListener("dragenter", (event) => {
  if (!holdsFiles(event)) return;
  depth += 1;
  document.body.classList.add("dragging");
});
document.addEventListener("dragleave", () => {
  depth = Math.max(0, depth - 1);
  if (!depth) document.body.classList.remove("dragging");
});
document.addEventListener("dragover", (event) => {
  if (holdsFiles(event)) event.preventDefault();
});
document.addEventListener("drop", (event) => {
  if (!holdsFiles(event)) return;
  event.preventDefault();
  depth = 0;
  document.body.classList.remove("dragging");
  if (event.dataTransfer.files.length) send(event.dataTransfer.files);
});
