(() => {
  "use strict";
  const table = document.querySelector("table[data-sort]");
  const tools = document.querySelector(".tools");
  if (!table || !tools) return;
  const body = table.tBodies[0];
  const rows = [...body.rows];
  const search = document.getElementById("search");
  const verdict = document.getElementById("verdict");
  const told = tools.querySelector("output");

  const filter = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const row of rows) {
      const fits = words.every((word) => row.dataset.words.includes(word)) &&
        (!verdict.value || row.dataset.verdicts.split("|").includes(verdict.value));
      row.hidden = !fits;
      shown += fits;
    }
    told.textContent = told.dataset.shown.replace("{shown}", shown).replace("{all}", rows.length);
  };

  // a cell without a number comes last either way: nothing is known, which is neither much nor little
  const key = (row, column) => {
    const cell = row.cells[column];
    return "value" in cell.dataset ? Number(cell.dataset.value) : cell.textContent.trim();
  };
  const order = (one, other, sign) => {
    if (one === "" || other === "") return (one === "") - (other === "");
    if (typeof one === "number" && typeof other === "number") return sign * (one - other);
    return sign * String(one).localeCompare(String(other), "en", { numeric: true });
  };
  const sort = (head, column) => {
    const sign = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", sign > 0 ? "ascending" : "descending");
    const keyed = rows.map((row) => [key(row, column), row]);
    keyed.sort((one, other) => order(one[0], other[0], sign));
    body.append(...keyed.map((pair) => pair[1]));
  };

  [...table.tHead.rows[0].cells].forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.title = `${table.dataset.sort} ${head.textContent}`;
    button.textContent = head.textContent;
    head.replaceChildren(button);
    button.addEventListener("click", () => sort(head, column));
  });
  tools.addEventListener("submit", (event) => event.preventDefault());
  search.addEventListener("input", filter);
  verdict.addEventListener("change", filter);
  tools.hidden = false;
})();
