// Shows how far a piece of work is, and goes to its result.

const list = document.querySelector("[data-work]");

async function look() {
  try {
    const answer = await fetch(`/jobs/${list.dataset.work}/state`, { headers: { accept: "application/json" } });
    const job = await answer.json();
    list.replaceChildren(...job.lines.map((line) => Object.assign(document.createElement("li"), { textContent: line })));
    if (job.state === "done") location.replace(job.address);
    else if (job.state === "failed" || job.state === "cancelled") location.reload();
    else setTimeout(look, 400);
  } catch {
    setTimeout(look, 2000); // the server is away for a moment: the work is looked for again
  }
}

if (list) look();
