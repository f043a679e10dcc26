// The model's sliders: what is moved is asked at once, a little after the hand has stopped; the newest answer counts.

const form = document.querySelector("#ask-model");
const place = document.querySelector("#predicted");
const WAIT_MS = 60;
let asking = null;
let waiting = 0;

async function ask() {
  asking?.abort();
  asking = new AbortController();
  const said = new URLSearchParams(new FormData(form));
  place.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(`${form.dataset.predicted}?${said}`, { signal: asking.signal });
    if (!answer.ok || answer.status === 204) return form.requestSubmit(); // what the session holds has changed: load it anew
    place.innerHTML = await answer.text();
    history.replaceState(null, "", `${location.pathname}?${said}#predict`);
  } catch (error) {
    if (error.name === "AbortError") return;
    place.textContent = "The workbench does not answer. What you set is still here; move a slider to ask again.";
  }
  place.removeAttribute("aria-busy");
}

function soon() {
  clearTimeout(waiting);
  waiting = setTimeout(ask, WAIT_MS);
}

for (const slider of form?.querySelectorAll("input[type=range]") ?? []) {
  const number = document.getElementById(slider.dataset.for);
  slider.hidden = false;
  slider.addEventListener("input", () => {
    number.value = slider.value;
    soon();
  });
  number.addEventListener("input", () => {
    slider.value = number.value.replace(",", ".");
    soon();
  });
}
form?.querySelector(".ask")?.remove();
form?.addEventListener("submit", (event) => {
  if (event.submitter || document.activeElement?.form === form) {
    event.preventDefault(); // the enter key asks too, without leaving
    ask();
  }
});
