// A paper's form where scripts run: rows are added in place, and what can be said appears as one types.

const LOOK_AFTER_MS = 400;

function renumber(row, from, to) {
  for (const element of row.querySelectorAll("[name], [id], [for], [aria-describedby], [value], [data-open]")) {
    for (const name of ["name", "id", "for", "aria-describedby"]) {
      const said = element.getAttribute(name);
      if (said) element.setAttribute(name, said.replace(`.${from}.`, `.${to}.`));
    }
    if (element.dataset.open !== undefined) element.dataset.open = to;
    if (element.name === "do") element.value = element.value.replace(/-\d+$/, `-${to}`);
  }
  const number = row.querySelector("[data-number]");
  if (number) number.textContent = to + 1;
}

function addRow(form, key) {
  const rows = form.querySelector(`[data-rows="${key}"]`);
  const blank = form.querySelector(`template[data-blank="${key}"]`);
  const row = blank.content.firstElementChild.cloneNode(true);
  const numbers = [...rows.querySelectorAll(":scope > [data-row] > input[type=hidden]")].map((e) => Number(e.name.split(".")[1]));
  renumber(row, 9999, Math.max(-1, ...numbers) + 1);
  rows.append(row);
  return row;
}

// what was typed before a reload may have had more rows than the page that came back
function bringRowsBack(form) {
  const stored = localStorage.getItem(`typed:${form.dataset.keep}`);
  if (stored === null || form.dataset.fault) return;
  const said = JSON.parse(stored);
  for (const [name, value] of said) {
    const [key, number] = name.split(".");
    if (form.elements.namedItem(name) || !form.querySelector(`template[data-blank="${key}"]`)) continue;
    for (let tries = 0; tries < 200 && !form.elements.namedItem(name); tries += 1) {
      const last = addRow(form, key).querySelector("input[type=hidden]").name.split(".")[1];
      if (Number(last) >= Number(number)) break;
    }
    const element = form.elements.namedItem(name);
    if (element) element.value = value;
  }
  for (const [name, value] of said) {
    const element = form.elements.namedItem(name);
    if (element && !Array.isArray(value) && element.value !== value) element.value = value;
  }
}

function watch(form) {
  const place = document.getElementById("look");
  if (!form.dataset.look || !place) return;
  let waiting = 0;
  let asked = 0;
  const look = async () => {
    const number = (asked += 1);
    try {
      const answer = await fetch(form.dataset.look, { method: "POST", body: new FormData(form) });
      if (!answer.ok || number !== asked) return;
      const said = new DOMParser().parseFromString(await answer.text(), "text/html").body;
      if (number !== asked) return;
      for (const open of form.querySelectorAll("[data-open]")) {
        open.textContent = said.querySelector(`[data-said="${open.dataset.open}"]`)?.textContent ?? "";
      }
      place.replaceChildren(...said.childNodes);
    } catch {
      // the workbench is away: what is typed is kept here, and the next key asks again
    }
  };
  const soon = () => {
    clearTimeout(waiting);
    waiting = setTimeout(look, LOOK_AFTER_MS);
  };
  form.addEventListener("input", soon);
  form.addEventListener("rows", soon);
}

for (const form of document.querySelectorAll("form.paper")) {
  bringRowsBack(form);
  watch(form);
  form.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-add], button[data-out]");
    if (!button) return;
    event.preventDefault();
    if (button.dataset.add) {
      addRow(form, button.dataset.add).querySelector("select, input:not([type=hidden])")?.focus();
    } else {
      const rows = button.closest("[data-rows]");
      button.closest("[data-row]").remove();
      (rows.querySelector("select, input:not([type=hidden])") ?? rows.parentElement.querySelector("[data-add]"))?.focus();
      form.dispatchEvent(new Event("input"));
    }
    form.dispatchEvent(new Event("rows"));
  });
}
