(() => {
  "use strict";
  const table = document.getElementById("matrix");
  const body = table.tBodies[0];
  const heads = [...table.tHead.rows[0].cells];
  const key = (row, column) => row.cells[column].dataset.sort;
  const number = (text) => text !== "" && !isNaN(text) ? Number(text) : null;
  const compare = (a, b) => {
    const x = number(a), y = number(b);
    if (x !== null && y !== null) return x - y;
    return a.localeCompare(b, "en", { numeric: true });
  };
  const sort = (column) => {
    const head = heads[column];
    const down = head.getAttribute("aria-sort") === "ascending";
    heads.forEach((h) => h.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const rows = [...body.rows];
    rows.sort((a, b) => compare(key(a, column), key(b, column)) * (down ? -1 : 1));
    body.append(...rows);
  };
  heads.forEach((head, column) => head.querySelector("button").addEventListener("click", () => sort(column)));

  const find = document.getElementById("find");
  const shown = document.getElementById("shown");
  find.addEventListener("input", () => {
    const want = find.value.trim().toLowerCase();
    let n = 0;
    for (const row of body.rows) {
      row.hidden = !(row.textContent + " " + key(row, 0)).toLowerCase().includes(want);
      if (!row.hidden) n++;
    }
    shown.textContent = want === "" ? "" : n + " of " + body.rows.length;
  });
})();
