/* The planner on a species page. It reasons nothing: every result was worked out when the handbook was built. The page looks
   up what belongs to the reader's choices, adds days to a date, and reads seeds from a table. The address keeps the choices. */
(function () {
  "use strict";

  /* --- days, counted from 1 January 1970 */

  function toDay(text) {
    var day = /^\d{4}-\d\d-\d\d$/.test(text || "") ? Date.parse(text + "T00:00:00Z") / 86400000 : NaN;
    return day === Math.floor(day) && iso(day) === text ? day : null;
  }
  function iso(day) { return new Date(day * 86400000).toISOString().slice(0, 10); }
  function yearLater(day) {
    var date = new Date(day * 86400000), leap = date.getUTCMonth() === 1 && date.getUTCDate() === 29;
    return Date.UTC(date.getUTCFullYear() + 1, date.getUTCMonth(), leap ? 28 : date.getUTCDate()) / 86400000;
  }
  function plus(day, days) { return day === null || days === null ? null : day + days; }

  /* `steps`: of a sequence, each with `lasts`, those outside with `season`, the last with `seedlings`: [earliest, planned,
     latest] in days. `given`: mode (start, wanted, last-frost), day, south, today. */
  function dates(steps, given, tables) {
    var last = steps[steps.length - 1], before = steps.slice(0, -1), first = given.mode === "last-frost" ? 0 : 1;
    var lead = before.reduce(function (days, step) { return days + step.lasts[1]; }, 0);
    function spans(step) { return tables.seasons[given.south ? "south" : "north"][step.season]; }
    function onOrAfter(step, day) {
      if (!step.season || day === null) return day;
      return Math.max(day, spans(step).find(function (span) { return span[1] >= day; })[0]);
    }
    function onOrBefore(step, day) {
      return step.season ? Math.min(day, spans(step).filter(function (span) { return span[0] <= day; }).pop()[1]) : day;
    }
    function begin(day) { return onOrAfter(last, day + lead) - lead; }
    /* No seedling before a frost: reckoned from the shortest of every step. Outside, the season decides. */
    function startFor(day) {
      var part = first || last.season ? 1 : 0;
      return onOrBefore(last, day - last.seedlings[first]) - before.reduce(function (days, step) { return days + step.lasts[part]; }, 0);
    }
    function sowing(start, part) {
      var day = start, outside = steps.find(function (step) { return step.season; }) || last;
      before.slice(0, steps.indexOf(outside)).forEach(function (step) { day = plus(day, step.lasts[part]); });
      return onOrAfter(outside, day);
    }
    function latestSow(start, sow) {
      var late = sowing(start, 2);
      return late === null ? null : Math.max(late, sow);
    }
    function lay(start) {
      var day = start, made = steps.map(function (step) {
        var from = onOrAfter(step, day);
        day = from + step.lasts[1];
        return { start: from, earliest: from + step.lasts[0], planned: day, latest: plus(from, step.lasts[2]) };
      });
      var sow = made[made.length - 1].start;
      return {
        start: made[0].start, steps: made,
        sown: last.seedlings && [Math.min(sowing(start, 0), sow), sow, sowing(start, 2)],
        seedlings: last.seedlings && [Math.min(sowing(start, 0), sow) + last.seedlings[0], sow + last.seedlings[1], plus(latestSow(start, sow), last.seedlings[2])]
      };
    }
    var start = given.mode === "start" || !last.seedlings ? begin(given.day) : startFor(given.day), made = lay(start);
    if (given.mode === "start" || start >= given.today) return made;
    made = lay(begin(given.today));
    var nearest = made.seedlings[first], later = given.day;
    while (startFor(later) < given.today) later = yearLater(later);
    made.missed = { begunBy: start, nearest: nearest, atBest: Math.min(made.sown[0] + last.seedlings[0], nearest), later: startFor(later) };
    return made;
  }

  /* What a table gives for the places chosen in the fields. */
  function at(table, choice) {
    var place = 0, stride = 1;
    table.by.forEach(function (axis) {
      place += axis[1][choice[axis[0]]] * stride;
      stride *= Math.max.apply(null, axis[1]) + 1;
    });
    return table.at[place];
  }

  /* Places in the lists of plants, germination, survival and probability → seeds, and seeds on the mean. */
  function quantities(tables, plants, germination, survival, probability) {
    var row = (plants * tables.germination.length + germination) * tables.survival.length + survival;
    return { seeds: tables.seeds[row * tables.probability.length + probability], onAverage: tables.on_average[row] };
  }

  function stepsOf(plan, choice) {
    return plan.results[at(plan.route, choice)].steps.map(function (table) { return plan.variants[at(plan.tables[table], choice)]; });
  }

  /* Where the wanted day is out of reach: what one thing more or less to work with leads to, if that meets the day, comes sooner, or
     leaves the waiting to the seasons. What has to be allowed is never offered to save time. Those in time first, then the soonest. */
  function otherWays(plan, choice, given, tables, nearest) {
    var first = given.mode === "last-frost" ? 0 : 1, known = [at(plan.route, choice)], ways = [];
    plan.fields.forEach(function (field, i) {
      if (field.name !== "have" || field.permission) return;
      var other = choice.slice();
      other[i] = 1 - choice[i];
      var number = at(plan.route, other), steps = stepsOf(plan, other);
      if (known.indexOf(number) >= 0 || !steps.length || !steps[steps.length - 1].seedlings) return;
      known.push(number);
      var laid = dates(steps, given, tables), inTime = !laid.missed, seedlings = laid.seedlings[first];
      var gain = inTime ? "in time" : seedlings < nearest ? "sooner" : steps[steps.length - 1].season ? "outside" : null;
      if (gain) ways.push({ field: i, gain: gain, start: laid.start, seedlings: seedlings });
    });
    return ways.sort(function (a, b) { return (b.gain === "in time") - (a.gain === "in time") || a.seedlings - b.seedlings; });
  }

  window.rousewortPlanner = { dates: dates, at: at, quantities: quantities, stepsOf: stepsOf, otherWays: otherWays };

  /* --- the page */

  var script = document.currentScript, root = document.querySelector(".rw-planner"), plan = null, tables = null;
  if (!root || !script || !script.dataset.plans) return;
  var given = root.querySelector(".rw-given"), usually = given.textContent;
  var box = root.querySelector(".rw-choices"), place = root.querySelector(".rw-result"), usualSteps = document.querySelector("ol.rw-steps"), steps = usualSteps;
  var asked = new URLSearchParams(location.search), inputs = [], when = {}, many = {}, told = null;
  var MODES = { start: "Begin on", wanted: "Seedlings wanted on", "last-frost": "No seedling before (last frost)" };
  root.hidden = false;

  window.rousewortPlans = function (data) { plan = data; if (tables) begin(); };
  window.rousewortTables = function (data) { tables = data; if (plan) begin(); };

  function load() {
    if (root.dataset.asked) return;
    root.dataset.asked = "1";
    [script.dataset.plans, script.dataset.tables].forEach(function (address) {
      var element = document.createElement("script");
      element.src = address;
      document.head.appendChild(element);
    });
  }

  function make(tag, text, name) {
    var element = document.createElement(tag);
    if (text) element.textContent = text;
    if (name) element.className = name;
    return element;
  }
  function upper(text) { return text.charAt(0).toUpperCase() + text.slice(1); }
  function list(key) { return (asked.get(key) || "").split(","); }

  /* --- the form */

  function group(title) {
    var set = make("fieldset"), head = make("legend", title);
    set.appendChild(head);
    box.appendChild(set);
    return set;
  }
  function labelled(set, text, input) {
    var label = make("label");
    if (input.type === "checkbox") label.append(input, " " + text); else label.append(text + " ", input);
    set.appendChild(label);
    return input;
  }
  function checkbox(set, text, on) {
    var input = make("input");
    input.type = "checkbox";
    input.checked = on;
    return labelled(set, text, input);
  }
  function select(set, text, shown, chosen) {
    var input = make("select");
    shown.forEach(function (word, i) { input.add(new Option(word, i, i === chosen, i === chosen)); });
    return labelled(set, text, input);
  }
  function whole(set, text, most, value) {
    var input = make("input");
    input.type = "number"; input.min = 1; input.max = most; input.step = 1; input.inputMode = "numeric";
    input.value = /^[1-9]\d{0,6}$/.test(value || "") ? value : "";
    return labelled(set, text, input);
  }

  /* A field of the plan: how it is drawn, which place it has, and how the address says it. */
  function draw(field, set) {
    var name = field.name.replace("_", "-"), given = asked.get(name), input;
    if (field.name === "have") {
      var on = list(field.permission ? "allow" : "have").indexOf(field.word) >= 0 || (field.usual === 1 && list("without").indexOf(field.word) < 0);
      input = checkbox(set, (field.permission ? "allow " : "") + field.label, on);
    } else if (field.name === "seeds") {
      input = whole(set, field.label, 1000000, given);
    } else if (field.shown) {
      var words = field.values.map(function (value) { return field.name === "had" ? field.word + ":" + value : value; });
      var said = field.name === "had" ? list("had").find(function (word) { return words.indexOf(word) >= 0; }) : given;
      input = select(set, upper(field.label), field.shown, Math.max(field.usual, words.indexOf(said === undefined ? null : said)));
    } else {
      input = checkbox(set, field.label, given === "yes");
    }
    inputs.push(input);
  }
  function chosen(field, input) {
    if (input.type === "checkbox") return input.checked ? 1 : 0;
    if (field.name !== "seeds") return Number(input.value);
    var seeds = input.validity.valid ? Number(input.value) : 0;
    return field.values.reduce(function (found, value, i) { return value !== null && seeds && value <= seeds ? i : found; }, 0);
  }
  function choice() { return plan.fields.map(function (field, i) { return chosen(field, inputs[i]); }); }

  function form() {
    var sets = {};
    plan.fields.forEach(function (field) {
      var title = field.name === "have" ? "What you have" : "Your seed";
      sets[title] = sets[title] || group(title);
      draw(field, sets[title]);
    });
    if (plan.results.some(function (result) { return result.steps.length; })) { calendar(group("When")); amounts(group("How many")); }
    var buttons = make("p"), reset = make("button", "Back to the usual"), print = make("button", "Print");
    reset.type = print.type = "button";
    reset.addEventListener("click", function () {
      asked = new URLSearchParams();
      inputs = []; when = {}; many = {}; told = null;
      box.replaceChildren();
      form();
      show();
      box.querySelector("input, select").focus();
    });
    print.addEventListener("click", function () { window.print(); });
    buttons.append(reset, " ", print);
    box.appendChild(buttons);
  }
  function calendar(set) {
    var modes = Object.keys(MODES), mode = modes.find(function (key) { return inYears(toDay(asked.get(key))); }) || "start";
    when.mode = select(set, "Reckon from", modes.map(function (key) { return MODES[key]; }), modes.indexOf(mode));
    when.day = make("input");
    when.day.type = "date"; when.day.min = tables.years[0] + "-01-01"; when.day.max = tables.years[1] + "-12-31";
    var day = toDay(asked.get(mode));
    when.day.value = inYears(day) ? iso(day) : "";
    labelled(set, "Day", when.day);
    when.south = select(set, "Half of the Earth", ["northern", "southern"], asked.get("south") === "yes" ? 1 : 0);
  }
  function inYears(day) { return day !== null && day >= toDay(tables.years[0] + "-01-01") && day <= toDay(tables.years[1] + "-12-31"); }
  function amounts(set) {
    function of(key, label, first) {
      var shown = tables[key].map(function (n) { return key === "plants" ? String(n) : n + " %"; });
      many[key] = select(set, label, first ? [first].concat(shown) : shown, Math.max(0, tables[key].map(String).indexOf(asked.get(key)) + (first ? 1 : 0)));
    }
    of("plants", "Plants wanted", "not said");
    of("germination", "Germination of your lot", "not said");
    of("survival", "Seedlings that become plants");
    of("probability", "Probability of at least so many");
  }

  /* --- the address */

  function keep() {
    var words = { have: [], without: [], allow: [], had: [] }, query = new URLSearchParams();
    plan.fields.forEach(function (field, i) {
      var now = chosen(field, inputs[i]), value = field.values[now];
      if (now === field.usual) return;
      if (field.name === "have") words[!now ? "without" : field.permission ? "allow" : "have"].push(field.word);
      else if (field.name === "had") words.had.push(field.word + ":" + value);
      else query.set(field.name.replace("_", "-"), field.name === "seeds" ? inputs[i].value : value === true ? "yes" : value);
    });
    Object.keys(words).reverse().forEach(function (key) { if (words[key].length) query.set(key, words[key].join(",")); });
    if (when.day && toDay(when.day.value) !== null) query.set(Object.keys(MODES)[when.mode.value], when.day.value);
    if (when.south && when.south.value === "1") query.set("south", "yes");
    Object.keys(many).forEach(function (key) {
      var first = key === "plants" || key === "germination" ? 1 : 0, i = Number(many[key].value);
      if (i) query.set(key, tables[key][i - first]);
    });
    var text = query.toString().replace(/%2C/g, ",").replace(/%3A/g, ":");
    try { history.replaceState(null, "", location.pathname + (text ? "?" + text : "") + location.hash); } catch (e) { /* some browsers forbid it for files */ }
    return text;
  }

  /* --- the result */

  function time(day) {
    var element = make("time", new Date(day * 86400000).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" }));
    element.dateTime = iso(day);
    return element;
  }
  function windowOf(parts) {
    var said = [time(parts[1])];
    if (parts[0] < parts[1]) said.push(", at the earliest ", time(parts[0]));
    if (parts[2] === null) said.push(", with no latest day"); else if (parts[2] > parts[1]) said.push(", at the latest ", time(parts[2]));
    return said;
  }
  function sentence(parent, parts, name) {
    var p = make("p", "", name);
    p.append.apply(p, parts);
    parent.appendChild(p);
  }

  function instead(missed, given, picked) {
    var gains = { "in time": "In time", sooner: "Sooner", outside: "Outdoors" }, list = make("ul", "", "rw-missed");
    function item(parts) { var li = make("li"); li.append.apply(li, parts); list.appendChild(li); }
    otherWays(plan, picked, given, tables, missed.nearest).forEach(function (way) {
      var lead = (picked[way.field] ? ": without " : ": with ") + plan.fields[way.field].label;
      item([gains[way.gain] + lead + ", begin ", time(way.start), ", seedlings ", time(way.seedlings), "."]);
    });
    item(["A season later: the same plan; begin ", time(missed.later), "."]);
    place.appendChild(list);
  }

  function dated(laid, shown, given, typed, picked) {
    var list = make("ol", "", "rw-key rw-dates"), missed = laid.missed;
    if (missed) {
      sentence(place, [time(given.day), " can no longer be reached: it had to begin by ", time(missed.begunBy), ". Begun today, ", given.mode === "wanted" ? "seedlings are counted on " : "the first seedlings show ", time(missed.nearest),
        "; if every step ends as early as it may, the first show ", time(missed.atBest), "."], "rw-missed");
      instead(missed, given, picked);
    } else if (given.mode === "start" && laid.start !== given.day) {
      sentence(place, ["Begin on ", time(laid.start), ", not ", time(given.day), ": the step outside waits for its season (" + shown[shown.length - 1].season + ")."], "rw-missed");
    } else if (laid.start < given.today) {
      sentence(place, ["This beginning lies in the past."], "rw-missed");
    }
    var status = make("p", "", "rw-summary");
    status.setAttribute("role", "status");
    status.append(typed ? "Begin " : "Begun today or later: ", time(laid.start));
    if (laid.sown) {
      status.append("; sow ");
      status.append.apply(status, windowOf(laid.sown));
      status.append("; seedlings counted on ");
      status.append.apply(status, windowOf(laid.seedlings));
    }
    status.append(".");
    place.append(status, line(laid, shown));
    laid.steps.forEach(function (d, i) {
      var step = shown[i], li = make("li"), lasts = d.planned > d.start;
      li.append(make("span", "", "rw-swatch " + step.colour), upper(plan.labels[step.label]) + ": ", time(d.start));
      if (lasts) li.append(" to ", time(d.planned));
      if (lasts && (d.earliest < d.planned || d.latest !== d.planned)) {
        li.append(" (may be over ", time(d.earliest));
        if (d.latest === null) li.append("; no latest day"); else if (d.latest > d.planned) li.append("; at the latest ", time(d.latest));
        li.append(")");
      }
      list.appendChild(li);
    });
    place.appendChild(list);
  }

  /* The plan on the year, as the page has it: a row of twelve months where it lasts a year at most, else a row a year. */
  function line(laid, shown) {
    var end = laid.seedlings ? laid.seedlings[1] : laid.steps[laid.steps.length - 1].planned, drawn = make("div", "", "rw-strip");
    var first = new Date(laid.start * 86400000).getUTCFullYear(), last = new Date(end * 86400000).getUTCFullYear();
    var lanes = [], one = end - laid.start < 365;
    for (var year = first; year <= (one ? first : last); year += 1) {
      var row = make("div", "", "rw-year"), lane = make("div", "", "rw-lane");
      for (var month = 0; year === first && month < 12; month += 1) {
        var name = new Date(Date.UTC(2027, month, 1)).toLocaleDateString("en-GB", { month: "short", timeZone: "UTC" }), cell = make("span", name.charAt(0));
        cell.appendChild(make("i", name.slice(1, 3)));
        row.appendChild(cell);
      }
      row.appendChild(lane);
      lanes.push(lane);
      drawn.appendChild(row);
    }
    laid.steps.forEach(function (d, i) {
      var until = i === laid.steps.length - 1 ? end : d.planned;
      for (var year = first; year <= last; year += 1) {
        var january = Date.UTC(year, 0, 1) / 86400000, days = Date.UTC(year + 1, 0, 1) / 86400000 - january;
        var from = Math.max(d.start, january), to = Math.min(until, january + days);
        if (from > to || (from === to && (d.start !== until || from === january + days))) continue;
        var bar = make("span", "", "rw-bar " + shown[i].colour);
        bar.style.left = 100 * (from - january) / days + "%";
        bar.style.width = 100 * (to - from) / days + "%";
        if ((to - from) / days > 0.04) bar.appendChild(make("b", String(i + 1)));
        lanes[one ? 0 : year - first].appendChild(bar);
      }
    });
    drawn.setAttribute("aria-hidden", "true");
    return drawn;
  }

  function seeds() {
    var plants = Number(many.plants.value), germination = Number(many.germination.value);
    if (!plants) return;
    if (!germination) { sentence(place, ["Say how much of your lot germinates, from a test or your own record: no book knows it."], "rw-seeds"); return; }
    var found = quantities(tables, plants - 1, germination - 1, Number(many.survival.value), Number(many.probability.value)), per = plan.per_gram;
    var grams = per ? found.seeds / per.count : null, shown = grams >= 100 ? grams.toFixed(0) : grams ? String(Number(grams.toPrecision(3))) : "";
    var wanted = tables.plants[plants - 1], said = make("b", found.seeds + (found.seeds === 1 ? " seed" : " seeds"));
    sentence(place, ["Sow ", said, " for at least " + wanted + (wanted === 1 ? " plant" : " plants") + " with a probability of " + tables.probability[many.probability.value] + " %; " + found.onAverage + " would do on the mean, and give too few about every second time. " +
      (per ? "They weigh " + shown + " g if all of it is seed, at " + Number(per.count.toPrecision(3)) + " seeds in a gram (" + per.from + ")." : "How many seeds a gram holds is not known here: weigh 100.")], "rw-seeds");
  }

  /* What was set, as a line: beside the word that opens the form, and for paper, where neither shows. */
  function setSoFar(picked) {
    var words = [];
    plan.fields.forEach(function (field, i) {
      if (picked[i] === field.usual) return;
      if (field.name === "have") words.push(!picked[i] ? "without " + field.label : field.permission ? field.label + " allowed" : "with " + field.label);
      else words.push(field.name === "seeds" ? inputs[i].value + " seeds in the lot" : field.shown ? field.label + ": " + field.shown[picked[i]] : field.label);
    });
    if (when.south && when.south.value === "1") words.push("southern half of the Earth");
    given.textContent = words.length ? upper(words.join("; ")) : usually;
    if (words.length) sentence(place, [upper(words.join("; ")) + "."], "rw-set");
  }

  function hideUsual(own) {
    document.querySelectorAll(".rw-static").forEach(function (element) { element.hidden = true; });
    document.querySelectorAll(".rw-usual, .rw-line").forEach(function (element) { element.hidden = own; });
    ["left-undone", "instead", "not-used-and-why"].forEach(function (id) {
      var element = document.getElementById(id), first = element;
      while (element && (element === first || !/^H[23]$/.test(element.tagName))) { element.hidden = own; element = element.nextElementSibling; }
    });
  }

  function show() {
    var picked = choice(), own = picked.some(function (v, i) { return v !== plan.fields[i].usual; }), result = plan.results[at(plan.route, picked)], shown = stepsOf(plan, picked);
    var said = keep();
    if (said === told) return;
    told = said;
    place.replaceChildren();
    setSoFar(picked);
    plan.cautions.forEach(function (table) { at(table, picked).forEach(function (text) { place.appendChild(make("p", text, "rw-caution")); }); });
    result.said.forEach(function (text) { place.appendChild(make("p", text, "rw-advice")); });
    if (shown.length) {
      var day = toDay(when.day.value), typed = inYears(day), now = new Date(), today = Date.UTC(now.getFullYear(), now.getMonth(), now.getDate()) / 86400000;
      var given = { mode: typed ? Object.keys(MODES)[when.mode.value] : "start", day: typed ? day : today, south: when.south.value === "1", today: today };
      dated(dates(shown, given, tables), shown, given, typed, picked);
      seeds();
    }
    hideUsual(own);
    if (!steps) { steps = make("ol", "", "rw-steps"); root.after(steps); }
    /* Built and escaped by the same templates as the rest of the page; nothing from the address is in it. */
    steps.innerHTML = shown.map(function (step) { return step.lines.map(function (i) { return plan.texts[i]; }).join("\n"); }).join("");
    root.dataset.shown = picked.join(",");
  }

  function begin() {
    form();
    ["input", "change"].forEach(function (kind) { box.addEventListener(kind, show); });
    box.addEventListener("submit", function (event) { event.preventDefault(); });
    show();
  }

  document.addEventListener("click", function (event) {
    if (event.target.closest && event.target.closest("a.rw-choose")) root.open = true;
  });
  root.addEventListener("toggle", load);
  var known = ["have", "without", "allow", "had", "seeds", "stored", "provenance", "cleaned", "dried-since", "south", "plants", "germination", "survival", "probability"].concat(Object.keys(MODES));
  if (known.some(function (key) { return asked.has(key); }) || location.hash === "#planner") { root.open = true; load(); }
})();
