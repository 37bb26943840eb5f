// Lets every table of a page or notebook be sorted: each heading becomes a button, a third press brings the order of
// the page back.  Works by pointer and keyboard; aria-sort tells the order.  Without this script the tables stand.
(function () {
  "use strict";
  if (window.lineproofSort) { return; }
  window.lineproofSort = true;
  var style = document.createElement("style");
  style.textContent =
    ".table button.sort { all: unset; box-sizing: border-box; cursor: pointer; font: inherit; font-weight: bold; color: inherit; }" +
    ".table button.sort:hover { text-decoration: underline; }" +
    ".table button.sort:focus-visible { outline: 2px solid currentColor; outline-offset: 2px; }" +
    ".table th[aria-sort=ascending] button.sort::after { content: ' \\25B2'; }" +
    ".table th[aria-sort=descending] button.sort::after { content: ' \\25BC'; }";
  document.head.appendChild(style);

  var collator = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

  // A number at the begin of a cell: 1,600 of 1,602; 99.4 %; \u22120.5 s.  Clock times and names are no numbers.
  function value(cell) {
    var text = cell ? cell.textContent.trim() : "";
    var found = /^[<>\u2248~]?\s*([-\u2212]?\d{1,3}(?:,\d{3})+(?:\.\d+)?|[-\u2212]?\d+(?:\.\d+)?)(?![\d:.\-])/.exec(text);
    return { text: text, empty: text === "" || text === "\u2013" || text === "\u2014",
      number: found ? parseFloat(found[1].replace("\u2212", "-").replace(/,/g, "")) : null };
  }

  function order(column, down) {
    var told = column.filter(function (entry) { return !entry.value.empty; });
    var numbers = told.length > 0 && told.every(function (entry) { return entry.value.number !== null; });
    return column.sort(function (one, other) {
      if (one.value.empty !== other.value.empty) { return one.value.empty ? 1 : -1; }
      var by = numbers ? one.value.number - other.value.number : collator.compare(one.value.text, other.value.text);
      return (down ? -by : by) || one.place - other.place;
    });
  }

  function sort(table, head, index) {
    var body = table.tBodies[0];
    var was = head.getAttribute("aria-sort");
    var now = was === "ascending" ? "descending" : was === "descending" ? "none" : "ascending";
    table.querySelectorAll("thead th[aria-sort]").forEach(function (other) { other.setAttribute("aria-sort", "none"); });
    head.setAttribute("aria-sort", now);
    var rows = Array.from(body.rows).map(function (row) {
      return { row: row, place: Number(row.dataset.place), value: value(row.cells[index]) };
    });
    if (now === "none") { rows.sort(function (one, other) { return one.place - other.place; }); }
    else { order(rows, now === "descending"); }
    rows.forEach(function (entry) { body.appendChild(entry.row); });
  }

  function upgrade(table) {
    var body = table.tBodies[0];
    var heads = table.tHead ? Array.from(table.tHead.querySelectorAll("th")) : [];
    if (table.dataset.sortable || !body || body.rows.length < 2 || !heads.length) { return; }
    if (getComputedStyle(table.tHead).position === "absolute") { return; }  // a narrow screen shows no headings
    if (body.querySelector("[rowspan], [colspan]")) { return; }
    table.dataset.sortable = "yes";
    Array.from(body.rows).forEach(function (row, place) { row.dataset.place = String(place); });
    heads.forEach(function (head, index) {
      var button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.title = "Sort by this column";
      while (head.firstChild) { button.appendChild(head.firstChild); }
      head.appendChild(button);
      head.setAttribute("aria-sort", "none");
      button.addEventListener("click", function () { sort(table, head, index); });
    });
  }

  function look(place) {
    if (place.querySelectorAll) { place.querySelectorAll(".table > table").forEach(upgrade); }
  }

  look(document);
  // A notebook adds its tables while its cells run.
  new MutationObserver(function (changes) {
    changes.forEach(function (change) { change.addedNodes.forEach(look); });
  }).observe(document.body, { childList: true, subtree: true });
}());
