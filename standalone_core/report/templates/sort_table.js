document.querySelectorAll("table.sorted").forEach((table) => {
  const body = table.tBodies[0];
  const value = (row, column) => row.cells[column].dataset.sort;
  const compare = (first, second) => {
    const [a, b] = [Number(first), Number(second)];
    return Number.isNaN(a) || Number.isNaN(b) ? first.localeCompare(second, undefined, { numeric: true }) : a - b;
  };
  [...table.tHead.rows[0].cells].forEach((head, column) => {
    if (!("first" in head.dataset)) return;
    const button = document.createElement("button");
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const up = head.ariaSort ? head.ariaSort === "descending" : head.dataset.first === "up";
      [...table.tHead.rows[0].cells].forEach((other) => other.removeAttribute("aria-sort"));
      head.ariaSort = up ? "ascending" : "descending";
      const rows = [...body.rows];
      const known = rows.filter((row) => value(row, column) !== "");
      known.sort((a, b) => (up ? 1 : -1) * compare(value(a, column), value(b, column)));
      body.append(...known, ...rows.filter((row) => value(row, column) === ""));
    });
  });
});
