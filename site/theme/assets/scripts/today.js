/* The reader's own colours, kept in the browser, and today on every strip of the year. Loaded before the page shows. */
(function () {
  "use strict";
  var root = document.documentElement, ways = ["", "light", "dark"], says = { "": "Colours: system", light: "Colours: light", dark: "Colours: dark" };
  root.className = "js";
  function kept() { try { return localStorage.getItem("rousewort-colours") || ""; } catch (e) { return ""; } }
  function wear(way) { if (way) root.dataset.colours = way; else delete root.dataset.colours; }
  var way = ways.indexOf(kept()) < 0 ? "" : kept();
  wear(way);

  function markToday() {
    var now = new Date(), year = now.getFullYear(), days = (Date.UTC(year, now.getMonth(), now.getDate()) - Date.UTC(year, 0, 1)) / 86400000;
    document.querySelectorAll(".rw-now").forEach(function (strip) {
      var mark = document.createElement("span");
      mark.className = "rw-today";
      mark.title = "today";
      mark.style.left = 100 * days / 365.25 + "%";
      strip.appendChild(mark);
    });
  }

  /* In the list of months, this one: the first row of its name is the nearest season. */
  function markMonth() {
    var row = document.querySelector('[data-month="' + (new Date().getMonth() + 1) + '"] th');
    if (!row) return;
    var tag = document.createElement("span");
    tag.className = "rw-tag";
    tag.textContent = "this month";
    row.append(" ", tag);
  }

  function said(day) { return day.toLocaleDateString("en-GB", { day: "numeric", month: "long", timeZone: "UTC" }); }

  function count(days) { return days + (days === 1 ? " day" : " days"); }

  /* What is next, said from today: first the day to begin by, then what comes of beginning now. */
  function nextAct() {
    var line = document.querySelector(".rw-act"), now = new Date(), day = 86400000;
    if (!line) return;
    var today = Date.UTC(now.getFullYear(), now.getMonth(), now.getDate()), parts = line.dataset.begin.split("-");
    var begin = Date.UTC(now.getFullYear(), parts[0] - 1, parts[1]);
    if (begin < today) begin = Date.UTC(now.getFullYear() + 1, parts[0] - 1, parts[1]);
    var left = Math.round((begin - today) / day), element = document.createElement("span");
    element.className = "rw-quiet";
    /* Missed by less than four months: late, but this season's; else the next one is what counts. */
    element.textContent = left === 0 ? "That is today." : left > 245 ? "That was " + count(365 - left) + " ago." : "That is in " + count(left) + ".";
    if (!("outdoors" in line.dataset)) element.textContent += " Begun today, " + said(new Date(today)) + ", seedlings would come about " + said(new Date(today + line.dataset.days * day)) + ".";
    line.append(" ", element);
  }

  /* A plan that a script has put in. */
  document.addEventListener("rousewort:shown", function () {
    document.querySelectorAll(".rw-today").forEach(function (mark) { mark.remove(); });
    markToday();
    nextAct();
  });

  document.addEventListener("DOMContentLoaded", function () {
    var button = document.querySelector(".rw-colours");
    button.hidden = false;
    button.textContent = says[way];
    button.addEventListener("click", function () {
      way = ways[(ways.indexOf(way) + 1) % ways.length];
      wear(way);
      try { if (way) localStorage.setItem("rousewort-colours", way); else localStorage.removeItem("rousewort-colours"); } catch (e) { /* some browsers keep nothing for files */ }
      button.textContent = says[way];
    });
    markToday();
    nextAct();
    markMonth();
  });
})();
