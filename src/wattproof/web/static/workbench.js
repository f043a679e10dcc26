// What every page does where scripts run: what was typed is kept until it has arrived.

const PREFIX = "typed:";

function fieldsOf(form) {
  return [...form.elements].filter((e) => e.name && e.name !== "form_token" && !["file", "hidden", "password", "submit", "button"].includes(e.type));
}

function read(form) {
  return fieldsOf(form).map((e) => [e.name, ["checkbox", "radio"].includes(e.type) ? [e.value, e.checked] : e.value]);
}

function write(form, said) {
  const left = new Map();
  for (const [name, value] of said) left.set(name, [...(left.get(name) ?? []), value]);
  for (const element of fieldsOf(form)) {
    const value = left.get(element.name)?.shift();
    if (value === undefined) continue;
    if (Array.isArray(value)) element.checked = value[1];
    else element.value = value;
  }
}

function keep(form) {
  const key = PREFIX + form.dataset.keep;
  const asServed = JSON.stringify(read(form));
  const before = localStorage.getItem(key);
  if (before !== null && before !== asServed && !form.dataset.fault) {
    const note = document.createElement("p");
    note.className = "restored";
    note.setAttribute("role", "status");
    note.textContent = "What you typed here before is back. ";
    const drop = document.createElement("button");
    drop.type = "button";
    drop.className = "quiet";
    drop.textContent = "Drop it";
    drop.addEventListener("click", () => {
      localStorage.removeItem(key);
      write(form, JSON.parse(asServed));
      note.remove();
    });
    note.append(drop);
    form.prepend(note);
    write(form, JSON.parse(before));
    form.dispatchEvent(new Event("restored"));
  }
  form.addEventListener("input", () => localStorage.setItem(key, JSON.stringify(read(form))));
  form.addEventListener("submit", () => sessionStorage.setItem("submitted", key));
}

// the server says with a short-lived cookie that what was sent is safe there
if (/(?:^|; )kept=yes/.test(document.cookie)) {
  const key = sessionStorage.getItem("submitted");
  if (key) localStorage.removeItem(key);
  sessionStorage.removeItem("submitted");
  document.cookie = "kept=; max-age=0; path=/; samesite=strict";
}

for (const form of document.querySelectorAll("form[data-keep]")) keep(form);

// on a narrow screen the row of pages is longer than the screen: the one that is open stands in sight
document.querySelector(".top [aria-current=page]")?.scrollIntoView({ block: "nearest", inline: "center" });

// a form that may not be sent twice says so at once
for (const form of document.querySelectorAll("form[method=post]")) {
  form.addEventListener("submit", () => {
    for (const button of form.querySelectorAll("button:not([type=button])")) button.setAttribute("aria-busy", "true");
  });
}
