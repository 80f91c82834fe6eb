"use strict";
// Paper cannot be clicked: what is folded away is opened for it.
window.addEventListener("beforeprint", function () {
  document.querySelectorAll("details").forEach(function (fold) { fold.open = true; });
});
(function () {
  var table = document.getElementById("shot-table");
  var picks = document.getElementById("filters");
  if (!table || !picks) { return; }
  var body = table.tBodies[0];
  var rows = Array.prototype.slice.call(body.rows);
  var heads = Array.prototype.slice.call(table.tHead.rows[0].cells);
  var pick = function (id) { return document.getElementById(id).value; };

  function filter() {
    var phase = pick("f-phase"), flag = pick("f-flag"), camera = pick("f-body"), shown = 0;
    rows.forEach(function (row) {
      var flags = row.dataset.flags ? row.dataset.flags.split(" ") : [];
      var fits = (!phase || row.dataset.phase === phase) && (!camera || row.dataset.body === camera) &&
        (!flag || (flag === "*" ? flags.length > 0 : flag === "-" ? flags.length === 0 : flags.indexOf(flag) >= 0));
      row.hidden = !fits;
      var picture = document.getElementById("p" + row.id.slice(1));
      if (picture) { picture.hidden = !fits; }
      if (fits) { shown += 1; }
    });
    document.querySelectorAll(".group").forEach(function (group) { group.hidden = !group.querySelector("li:not([hidden])"); });
    document.getElementById("shown").textContent = shown + " of " + rows.length + " shots";
  }

  function value(row, column, numeric) {
    var cell = row.cells[column];
    if (!numeric) { return cell.textContent; }
    return cell.dataset.v === undefined ? null : Number(cell.dataset.v);
  }

  function sort(column) {
    var head = heads[column], numeric = head.classList.contains("n") || head.hasAttribute("data-keyed");
    var down = head.getAttribute("aria-sort") === "ascending";
    heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    var keyed = rows.map(function (row, n) { return { row: row, n: n, key: value(row, column, numeric) }; });
    keyed.sort(function (a, b) {
      var none = (a.key === null || a.key === "") - (b.key === null || b.key === "");
      if (none) { return none; }
      var order = numeric ? a.key - b.key : String(a.key).localeCompare(String(b.key), "en", { numeric: true });
      return (down ? -order : order) || a.n - b.n;
    });
    keyed.forEach(function (k) { body.appendChild(k.row); });
  }

  heads.forEach(function (head, column) {
    var button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    head.textContent = "";
    head.appendChild(button);
    button.addEventListener("click", function () { sort(column); });
  });
  picks.addEventListener("change", filter);
  function showAll() {
    ["f-phase", "f-flag", "f-body"].forEach(function (id) { document.getElementById(id).value = ""; });
    filter();
  }
  document.getElementById("all").addEventListener("click", showAll);
  // What an address leads to is shown, whatever the filters say.
  function found() {
    var to = /^#[rp]\d+$/.test(location.hash) && document.getElementById(location.hash.slice(1));
    if (!to) { return; }
    if (to.hidden) { showAll(); }
    rows.forEach(function (row) { row.classList.toggle("found", row === to); });
    to.scrollIntoView({ block: "center" });
  }
  window.addEventListener("hashchange", found);
  document.addEventListener("click", function (event) {
    var link = event.target.closest && event.target.closest("a");
    // The same row twice is no change of the address.
    if (link && link.getAttribute("href") === location.hash) { found(); }
  });
  picks.hidden = false;
  filter();
  found();
})();
