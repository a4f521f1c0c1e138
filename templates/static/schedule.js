// Asks how far the schedule is and says it; loads the page again once it is made. Without script a link does the same.
"use strict";
(() => {
  const box = document.getElementById("job");
  const line = document.getElementById("job-words");
  const waitMs = 1500;
  let missed = 0;

  async function look() {
    try {
      const answer = await fetch(box.dataset.job, { cache: "no-store", headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const job = await answer.json();
      missed = 0;
      if (!job.open) { location.reload(); return; }
      if (line.textContent !== job.words) line.textContent = job.words;
    } catch {
      missed += 1;
      if (missed === 3) line.textContent = "The program does not answer. What was begun goes on without this page; look again in a moment.";
    }
    setTimeout(look, waitMs * Math.min(1 + missed, 8));
  }

  setTimeout(look, waitMs);
})();
