// The start button works once every question is answered so that the run may begin; what is open is said beside it.

const form = document.getElementById("start");
const button = form.querySelector("button.start");
const open = document.getElementById("open");
const questions = [...form.querySelectorAll("fieldset.question")];
const words = [...form.querySelectorAll(".question.words input")];
const cautions = form.elements.namedItem("cautions");

function answerOf(fieldset) {
  return fieldset.querySelector("input:checked")?.value ?? "";
}

function look() {
  let left = words.filter((input) => !input.value.trim()).length;
  let forbidden = 0;
  for (const fieldset of questions) {
    const said = answerOf(fieldset);
    const allows = fieldset.dataset.allows;
    const forbids = Boolean(said && allows && !allows.split("|").includes(said));
    fieldset.classList.toggle("forbids", forbids);
    left += said ? 0 : 1;
    forbidden += forbids ? 1 : 0;
  }
  const parts = [];
  if (left) parts.push(left === 1 ? "One question is still open." : `${left} questions are still open.`);
  if (!cautions.checked) parts.push("The cautions are not read yet.");
  if (forbidden) parts.push(forbidden === 1 ? "One answer forbids the run: change it at the bench, then here." : `${forbidden} answers forbid the run: change them at the bench, then here.`);
  const told = parts.join(" ");
  if (open.textContent !== told) open.textContent = told;
  button.disabled = Boolean(parts.length) || button.dataset.may === "no";
}

form.addEventListener("input", look);
form.addEventListener("restored", look);
addEventListener("pageshow", look); // also when the browser brings back what was ticked
look();
