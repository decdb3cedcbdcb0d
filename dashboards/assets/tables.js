/* Tables: sort by a heading, turn the page, choose a row, by pointer or by keyboard. One cell or row of a table is
   reached by the tabulator; the arrow keys lead on from there, to the headings above the rows too. */
(function () {
  "use strict";

  function rowsOf(table) {
    return [...table.tBodies[0].rows];
  }

  /* Show the rows of the page that begins with row number `first`. */
  function turnTo(frame, first) {
    const rows = rowsOf(frame.querySelector("table"));
    const size = Number(frame.dataset.page);
    const begin = Math.max(0, Math.min(first, Math.floor((rows.length - 1) / size) * size));
    const end = Math.min(begin + size, rows.length);
    rows.forEach((row, place) => { row.hidden = place < begin || place >= end; });
    frame.dataset.first = begin;
    const turner = frame.querySelector(".turner");
    if (turner) {
      turner.querySelector("[data-turn='-1']").disabled = begin === 0;
      turner.querySelector("[data-turn='1']").disabled = end === rows.length;
      turner.querySelector("span").textContent = "Rows " + (begin + 1) + " to " + end + " of " + rows.length;
    }
    const stop = rows.find((row) => row.tabIndex === 0);
    if (stop && stop.hidden) { stopAt(stop.closest("table"), rows[begin]); }
  }

  function turn(frame, pages) {
    turnTo(frame, Number(frame.dataset.first || 0) + pages * Number(frame.dataset.page));
  }

  /* Turn to the page on which a row stands. */
  function turnToRow(row) {
    const frame = row.closest(".table");
    const size = Number(frame.dataset.page);
    turnTo(frame, Math.floor(rowsOf(row.closest("table")).indexOf(row) / size) * size);
  }

  function compare(one, other) {
    const [a, b] = [one.dataset.value, other.dataset.value];
    if (a === undefined || b === undefined || isNaN(a) || isNaN(b)) {
      return (a || one.textContent).localeCompare(b || other.textContent, "en", { numeric: true });
    }
    return Number(a) - Number(b);
  }

  /* Sort by a column: upwards, then downwards, then as the answer came. Rows without a value stand last. The page with
     the chosen row is shown, or else the first. */
  function sort(heading) {
    const table = heading.closest("table");
    const order = { ascending: "descending", descending: "none" }[heading.getAttribute("aria-sort")] || "ascending";
    table.querySelectorAll("th").forEach((other) => other.removeAttribute("aria-sort"));
    heading.setAttribute("aria-sort", order);
    const place = heading.cellIndex;
    const missing = (row) => row.cells[place].dataset.value === "";
    const turned = order === "descending" ? -1 : 1;
    const rows = rowsOf(table).sort((one, other) => Number(one.dataset.row) - Number(other.dataset.row));
    if (order !== "none") {
      rows.sort((one, other) => missing(one) - missing(other) || turned * compare(one.cells[place], other.cells[place]));
    }
    table.tBodies[0].append(...rows);
    turnToRow(rows.find((row) => row.hasAttribute("aria-selected")) || rows[0]);
  }

  function stopAt(table, element) {
    table.querySelectorAll("[tabindex='0']").forEach((before) => { before.tabIndex = -1; });
    element.tabIndex = 0;
  }

  function reach(table, element) {
    stopAt(table, element);
    element.focus();
  }

  /* Mark the row that was chosen in a section, and show the page on which it stands; a key that no row has marks none. */
  function mark(section, key) {
    const table = section.querySelector("table.rows");
    if (!table) { return; }
    rowsOf(table).forEach((row) => row.removeAttribute("aria-selected"));
    const row = rowsOf(table).find((one) => one.dataset.key === key);
    if (!row) { return; }
    row.setAttribute("aria-selected", "true");
    turnToRow(row);
    stopAt(table, row);
  }

  function choose(row) {
    const section = row.closest("[data-section]"); // none on the page of the records
    if (!section) { return; }
    window.layshaft.pick(section, row.dataset.row);
  }

  /* Return where an arrow key leads from a row or a heading, or null. */
  function next(table, from, key) {
    const headings = [...table.tHead.querySelectorAll("button")].filter((button) => button.offsetParent);
    const rows = rowsOf(table).filter((row) => !row.hidden);
    const heading = headings.indexOf(from);
    if (heading >= 0) {
      const beside = { ArrowRight: headings[heading + 1], ArrowLeft: headings[heading - 1], ArrowDown: rows[0] };
      return beside[key] || null;
    }
    const place = rows.indexOf(from);
    const along = { ArrowDown: rows[place + 1], ArrowUp: rows[place - 1] || headings[0], Home: rows[0] };
    return (key === "End" ? rows[rows.length - 1] : along[key]) || null;
  }

  document.addEventListener("click", (event) => {
    const turner = event.target.closest(".turner button");
    if (turner) {
      turn(turner.closest(".table"), Number(turner.dataset.turn));
      if (turner.disabled) { // it was the last page: the focus stays with the table
        turner.closest(".turner").querySelector("button:not(:disabled)").focus();
      }
      return;
    }
    const heading = event.target.closest("table.rows th");
    if (heading) {
      sort(heading);
      return;
    }
    const row = event.target.closest("table.rows tbody tr");
    if (row && window.getSelection().isCollapsed) { choose(row); } // words that were marked are to be copied
  });

  document.addEventListener("keydown", (event) => {
    const table = event.target.closest("table.rows");
    if (!table) { return; }
    const row = event.target.closest("tbody tr");
    if (row && (event.key === " " || event.key === "Enter")) {
      choose(row);
    } else if (row && (event.key === "PageDown" || event.key === "PageUp")) {
      turn(table.closest(".table"), event.key === "PageDown" ? 1 : -1);
      reach(table, rowsOf(table).find((shown) => !shown.hidden));
    } else {
      const there = next(table, event.target, event.key);
      if (!there) { return; }
      reach(table, there);
    }
    event.preventDefault();
  });

  window.layshaft = Object.assign({}, window.layshaft, { mark: mark });
})();
