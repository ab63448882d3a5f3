/* The list of all species, narrowed and sorted as the reader asks. The address keeps what was chosen. */
(function () {
  "use strict";
  var script = document.currentScript, form = document.querySelector(".rw-browse"), table = document.querySelector(".rw-found"), more = document.querySelector(".rw-more");
  if (!form || !script.dataset.file) return;
  var body = table.tBodies[0], status = document.querySelector(".rw-summary"), asked = new URLSearchParams(location.search), data, shown = 60;
  var MONTHS = ["", "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];
  var NAME = 0, COMMON = 1, PAGE = 2, DAYS = 3, MONTH = 4, SURE = 5, WORDS = 6;
  /* What is not known stands last. */
  function by(place, sign) { return function (a, b) { var none = (a[place] === null) - (b[place] === null); return none || sign * (a[place] - b[place]) || (a[NAME] < b[NAME] ? -1 : 1); }; }
  var ORDERS = { name: ["Name", function (a, b) { return a[NAME] < b[NAME] ? -1 : 1; }], days: ["Shortest first", by(DAYS, 1)], "-days": ["Longest first", by(DAYS, -1)], sure: ["Surest first", by(SURE, -1)] };

  function make(tag, text) { var element = document.createElement(tag); if (text) element.textContent = text; return element; }
  function select(name, label, options) {
    var box = make("label", label + " "), input = make("select");
    input.name = name;
    options.forEach(function (option) { input.add(new Option(option[1], option[0], false, asked.get(name) === option[0])); });
    box.appendChild(input);
    form.appendChild(box);
  }

  window.rousewortBrowse = function (given) {
    data = given;
    data.choices.forEach(function (choice, i) {
      var used = new Set();
      data.rows.forEach(function (row) { row[WORDS + i].forEach(function (word) { used.add(word); }); });
      var words = choice.words.map(function (label, place) { return [String(place), label]; }).filter(function (word) { return used.has(Number(word[0])); });
      if (choice.how === "only") words.unshift(["-", "nothing special"]);
      select(choice.name, choice.label, [["", "any"]].concat(words));
    });
    select("month", "Begin in", [["", "any month"], ["now", "this month or later this season"]].concat(MONTHS.slice(1).map(function (month, i) { return [String(i + 1), month]; })));
    select("sort", "In order of", Object.keys(ORDERS).map(function (key) { return [key, ORDERS[key][0]]; }));
    form.hidden = table.hidden = false;
    show();
  };

  /* Seedlings are wanted in May: the year of a sowing begins in June. */
  function fromJune(month) { return (month + 6) % 12; }

  function fits(row, chosen) {
    return data.choices.every(function (choice, i) {
      var word = chosen[choice.name], own = row[WORDS + i];
      if (!word) return true;
      if (choice.how === "only") return row[DAYS] !== null && own.every(function (place) { return String(place) === word; });
      return own.indexOf(Number(word)) >= 0;
    }) && (!chosen.month || (row[MONTH] > 0 && (chosen.month === "now" ? fromJune(row[MONTH]) >= fromJune(new Date().getMonth() + 1) : String(row[MONTH]) === chosen.month)));
  }

  function show() {
    var chosen = {}, address = new URLSearchParams();
    form.querySelectorAll("select").forEach(function (input) { chosen[input.name] = input.value; if (input.value && input.value !== "name") address.set(input.name, input.value); });
    try { history.replaceState(null, "", location.pathname + (String(address) ? "?" + address : "")); } catch (e) { /* some browsers forbid it for files */ }
    var rows = data.rows.filter(function (row) { return fits(row, chosen); }).sort(ORDERS[chosen.sort || "name"][1]);
    status.textContent = rows.length + (rows.length === 1 ? " species" : " species") + " of " + data.rows.length;
    body.replaceChildren.apply(body, rows.slice(0, shown).map(function (row) {
      var line = make("tr"), head = make("th"), link = make("a"), name = make("em", row[NAME]), common = make("span", row[COMMON]);
      head.scope = "row";
      link.href = row[PAGE] + ".html";
      link.appendChild(name);
      common.className = "rw-quiet";
      head.append(link, " ", common);
      line.append(head, make("td", MONTHS[row[MONTH]] || (row[DAYS] === null ? "" : "its season")), make("td", row[DAYS] === null ? "" : String(row[DAYS])), make("td", row[SURE] === null ? "not measured" : row[SURE] + " %"));
      return line;
    }));
    more.hidden = rows.length <= shown;
  }

  form.addEventListener("change", function () { shown = 60; show(); });
  form.addEventListener("submit", function (event) { event.preventDefault(); });
  more.addEventListener("click", function () { shown += 200; show(); });
  var element = document.createElement("script");
  element.src = script.dataset.file;
  document.head.appendChild(element);
})();
