/* The planner on a species page. It reasons nothing: every result was worked out when the handbook was built, and the
   page looks up the one that belongs to the reader's choices, and adds days to a date. The address keeps the choices. */
(function () {
  "use strict";
  var script = document.currentScript, root = document.querySelector(".rw-planner"), steps = document.querySelector("ol.rw-steps"), plan = null;
  if (!root) return;
  root.hidden = false;
  var box = root.querySelector(".rw-choices"), wanted = new URLSearchParams(location.search), DAY = 86400000;

  window.rousewortPlans = function (data) { plan = data; draw(); show(); };

  function load() {
    if (plan || root.dataset.asked) return;
    root.dataset.asked = "1";
    var element = document.createElement("script");
    element.src = script.dataset.plans;
    document.head.appendChild(element);
  }

  function make(tag, text, name) {
    var element = document.createElement(tag);
    if (text) element.textContent = text;
    if (name) element.className = name;
    return element;
  }

  function draw() {
    var without = (wanted.get("without") || "").split(","), have = (wanted.get("have") || "").split(",").concat((wanted.get("allow") || "").split(","));
    plan.needs.forEach(function (need, bit) {
      var label = make("label"), input = make("input");
      input.type = "checkbox";
      input.checked = have.indexOf(need.id) >= 0 || (plan.usual >> bit & 1 && without.indexOf(need.id) < 0);
      input.dataset.bit = bit;
      label.append(input, " " + (need.permission ? "allow " : "") + need.label);
      box.appendChild(label);
    });
    var dates = make("p");
    dates.innerHTML = '<label>Begin on <input type="date" name="start" min="1900-01-01" max="2199-12-31"></label> <label>or seedlings wanted on <input type="date" name="wanted" min="1900-01-01" max="2199-12-31"></label>';
    box.appendChild(dates);
    ["start", "wanted"].forEach(function (name) { dates.querySelector("[name=" + name + "]").value = wanted.get(name) || ""; });
    box.addEventListener("input", function (event) {
      var other = { start: "wanted", wanted: "start" }[event.target.name];
      if (other && event.target.value) box.querySelector("[name=" + other + "]").value = "";
      show();
    });
  }

  function number() {
    return Array.from(box.querySelectorAll("[data-bit]")).reduce(function (sum, i) { return sum + (i.checked ? 1 << i.dataset.bit : 0); }, 0);
  }

  function keep(choice) {
    var words = { have: [], without: [], allow: [] }, query = new URLSearchParams();
    plan.needs.forEach(function (need, bit) {
      var now = choice >> bit & 1, usual = plan.usual >> bit & 1;
      if (now && !usual) words[need.permission ? "allow" : "have"].push(need.id);
      if (!now && usual) words.without.push(need.id);
    });
    Object.keys(words).forEach(function (key) { if (words[key].length) query.set(key, words[key].join(",")); });
    ["start", "wanted"].forEach(function (key) { var v = box.querySelector("[name=" + key + "]").value; if (v) query.set(key, v); });
    var text = query.toString();
    try { history.replaceState(null, "", location.pathname + (text ? "?" + text : "") + location.hash); } catch (e) { /* some browsers forbid it for files */ }
  }

  function day(start, offset) {
    return new Date(start + offset * DAY).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" });
  }

  function dated(days) {
    var from = box.querySelector("[name=start]").value, by = box.querySelector("[name=wanted]").value, list = make("ol", "", "rw-key"), total = days[days.length - 1].end || 1;
    var start = from ? Date.parse(from + "T00:00:00Z") : by ? Date.parse(by + "T00:00:00Z") - total * DAY : null;
    var line = make("div", "", "rw-line"), bars = make("div", "", "rw-bars");
    days.forEach(function (d) {
      var bar = make("span", "", "rw-bar " + d.colour), li = make("li"), when = start === null ? "day " + d.start + (d.end > d.start ? " to " + d.end : "") : day(start, d.start) + (d.end > d.start ? " to " + day(start, d.end) : "");
      bar.style.left = 100 * d.start / total + "%";
      bar.style.width = 100 * (d.end - d.start) / total + "%";
      bars.appendChild(bar);
      li.append(make("span", "", "rw-swatch " + d.colour), d.label.charAt(0).toUpperCase() + d.label.slice(1) + ": " + when);
      list.appendChild(li);
    });
    line.appendChild(bars);
    line.setAttribute("aria-hidden", "true");
    return [line, list];
  }

  function show() {
    var choice = number(), result = plan.results[plan.table[choice]], place = root.querySelector(".rw-result"), own = choice !== plan.usual;
    keep(choice);
    place.replaceChildren();
    result.said.forEach(function (text) { place.appendChild(make("p", text, "rw-advice")); });
    if (result.days) place.append.apply(place, dated(result.days));
    else if (result.steps.length) place.appendChild(make("p", "A step outside waits for its season: for dates ask the rousewort calendar command."));
    document.querySelectorAll(".rw-static").forEach(function (e) { e.hidden = own || !!box.querySelector("[name=start]").value || !!box.querySelector("[name=wanted]").value; });
    if (!steps) { steps = make("ol", "", "rw-steps"); root.after(steps); }
    /* Built and escaped by the same templates as the rest of the page. */
    steps.innerHTML = result.steps.map(function (i) { return plan.parts[i]; }).join("");
    root.dataset.shown = choice;
  }

  root.addEventListener("toggle", load);
  if (["have", "without", "allow", "start", "wanted"].some(function (key) { return wanted.has(key); })) { root.open = true; load(); }
})();
