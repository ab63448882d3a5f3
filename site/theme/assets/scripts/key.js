/* The key for unknown seed. It reasons nothing: findings are looked up in tables that were worked out when the handbook
   was built; numbers that a reader types are added up as the tables say and compared with their thresholds. The address
   keeps every answer. */
(function () {
  "use strict";

  /* --- adding up: the same formulas and functions as the command's (observe/arithmetic.py, where each is told) */

  function times(series) { return series.map(function (pair) { return pair[0]; }); }
  function values(series) { return series.map(function (pair) { return pair[1]; }); }
  function most(numbers, otherwise) { return numbers.length ? Math.max.apply(null, numbers) : otherwise; }
  function at(series, time) {
    var found = series.filter(function (pair) { return pair[0] === time; })[0];
    return found && found[1];
  }
  function mean(all) {
    var sum = 0, lost = 0;
    all.forEach(function (n) { /* what rounding loses is added at the end */
      var next = sum + n;
      lost += Math.abs(sum) >= Math.abs(n) ? sum - next + n : n - next + sum;
      sum = next;
    });
    return all.length ? (sum + lost) / all.length : undefined;
  }
  function choose(n, k) {
    var ways = BigInt(1);
    for (var i = 0; i < k; i++) ways = ways * BigInt(n - i) / BigInt(i + 1);
    return ways;
  }
  function fisher(one, seeds, other, others) {
    var both = one + other, first = Math.max(0, both - others), weights = [choose(seeds, first) * choose(others, both - first)];
    for (var k = first; k < Math.min(both, seeds); k++) {
      weights.push(weights[k - first] * BigInt(seeds - k) * BigInt(both - k) / (BigInt(k + 1) * BigInt(others - both + k + 1)));
    }
    var sum = BigInt(0), rare = BigInt(0);
    weights.forEach(function (weight) { sum += weight; if (weight <= weights[one - first]) rare += weight; });
    return Number((rare << BigInt(128)) / sum) / Math.pow(2, 128);
  }
  var FUNCTIONS = {
    "+": function (a, b) { return a + b; },
    "-": function (a, b) { return a - b; },
    "*": function (a, b) { return a * b; },
    "/": function (a, b) { return b ? a / b : undefined; },
    "<": function (a, b) { return a < b; },
    "<=": function (a, b) { return a <= b; },
    ">": function (a, b) { return a > b; },
    ">=": function (a, b) { return a >= b; },
    "==": function (a, b) { return a === b; },
    "!=": function (a, b) { return a !== b; },
    "and": function (a, b) { return a && b; },
    "or": function (a, b) { return a || b; },
    "not in": function (time, series) { return times(series).indexOf(time) < 0; },
    at: at,
    missing: function (value) { return value === undefined; },
    otherwise: function (value, other) { return value === undefined ? other : value; },
    fraction: function (value) { return value !== Math.floor(value); },
    smaller: Math.min,
    exp: Math.exp,
    log10: function (value) { return value > 0 ? Math.log10(value) : undefined; },
    mean: mean,
    series: function () {
      var made = {};
      for (var i = 0; i < arguments.length; i += 2) made[arguments[i]] = arguments[i + 1];
      return Object.keys(made).map(function (time) { return [Number(time), made[time]]; });
    },
    weighings: function (series) { return series.length; },
    smallest: function (series) { return Math.min.apply(null, values(series)); },
    last: function (series) { return at(series, most(times(series))); },
    last_time: function (series) { return most(times(series)); },
    last_shared: function (one, other, limit) {
      var later = times(one).filter(function (time) { return time > 0 && times(other).indexOf(time) >= 0; });
      return most(later.filter(function (time) { return time <= limit; }), most(later, 0));
    },
    most_by: function (series, by) { return most(values(series.filter(function (pair) { return pair[0] <= by; })), 0); },
    fisher: fisher
  };
  function value(formula, seen, numbers) {
    if (typeof formula === "string") {
      if (formula in seen) return seen[formula];
      return numbers[formula] === formula ? undefined : value(numbers[formula], seen, numbers);
    }
    if (!Array.isArray(formula)) return formula;
    if (formula[0] === "text") return formula[1];
    if (formula[0] === "checked") {
      refuse(formula[2], seen, numbers);
      return value(formula[1], seen, numbers);
    }
    var all = formula.slice(1).map(function (part) { return value(part, seen, numbers); });
    if (formula[0] !== "missing" && formula[0] !== "otherwise" && all.indexOf(undefined) >= 0) return undefined;
    return FUNCTIONS[formula[0]].apply(null, all);
  }
  function refuse(rules, seen, numbers) {
    rules.forEach(function (rule) {
      if (rule[0] === "each") {
        (value(rule[1], seen, numbers) || []).slice().sort(function (a, b) { return a[0] - b[0]; }).forEach(function (pair, i, all) {
          var inner = Object.assign({}, seen, { time: pair[0], value: pair[1] }, i ? { before: all[i - 1][1] } : {});
          refuse(rule[2], inner, numbers);
        });
      } else if (value(rule[0], seen, numbers)) {
        throw { impossible: rule[1].map(function (part) {
          var said = typeof part === "string" ? part : value(part[1], seen, numbers);
          return typeof said === "number" && said !== Math.floor(said) ? +said.toPrecision(6) : said;
        }).join("") };
      }
    });
  }
  /* A test's numbers from its fields; an exception with `impossible` says what cannot be. A series is a list of [time, value]. */
  function workOut(sums, seen) {
    var made = {};
    refuse(sums.refuses, seen, sums.numbers);
    Object.keys(sums.numbers).forEach(function (name) {
      var n = value(sums.numbers[name], seen, sums.numbers);
      if (n !== undefined) made[name] = n;
    });
    return made;
  }
  function meets(number, wanted) {
    if (number === undefined) return false;
    if (typeof wanted !== "object") return number === wanted;
    return !("at_least" in wanted && number < wanted.at_least) && !("below" in wanted && number >= wanted.below);
  }
  /* Which finding typed numbers give: its place, -1 where none holds, null where too little was typed or it cannot be. */
  function finding(sums, typed) {
    var seen = Object.assign({}, typed), made;
    Object.keys(sums.fields).forEach(function (name) {
      var field = value(sums.fields[name], typed, {});
      if (field !== undefined) seen[name] = field;
    });
    try { made = workOut(sums, seen); } catch (trouble) {
      if (!trouble.impossible) throw trouble;
      return { place: null, numbers: {}, impossible: trouble.impossible };
    }
    if (!Object.keys(made).some(function (name) { return name in sums.gives; })) return { place: null, numbers: made };
    for (var i = 0; i < sums.when.length; i++) {
      if (Object.keys(sums.when[i]).every(function (name) { return meets(made[name], sums.when[i][name]); })) return { place: i, numbers: made };
    }
    return { place: -1, numbers: made };
  }

  window.rousewortFormulas = { workOut: workOut, finding: finding, names: Object.keys(FUNCTIONS) };

  /* --- the page */

  var script = document.currentScript, guide = document.querySelector(".rw-guide"), key = null, open = null;
  if (!guide) return;
  var asked = guide.querySelector(".rw-asked"), said = guide.querySelector(".rw-concluded"), list = guide.querySelector(".rw-tests");
  var answers = {}, skipped = {}, typed = {};

  function make(tag, text, name) {
    var element = document.createElement(tag);
    if (text) element.textContent = text;
    if (name) element.className = name;
    return element;
  }
  function words(text) { return text.replace(/_/g, " "); }
  function label(trait, word) { return (key.labels[trait] || {})[word] || words(word); }

  /* --- looking up */

  function place(part, chosen) {
    return part.inputs.reduce(function (at, name) {
      var effects = part.effects[name];
      return at * (Math.max.apply(null, effects) + 1) + (name in chosen ? effects[chosen[name]] : 0);
    }, 0);
  }

  /* What all answers say together: words, what is left, contradictions, results that end it. */
  function conclude(chosen) {
    var made = { words: {}, left: {}, against: [], stop: [], places: {}, results: {} };
    key.parts.forEach(function (part) {
      var at = place(part, chosen), result = part.results[part.table[at]];
      made.places[part.key] = at;
      made.results[part.key] = part.table[at];
      if (result.word) made.words[part.key] = result.word;
      if (result.left) made.left[part.key] = result.left;
      (result.against || []).forEach(function (clash) { made.against.push([part.key].concat(clash)); });
    });
    key.levels.forEach(function (level) {
      if (key.settles[level][made.results[key["class"]]][made.results[level]]) made.words[level] = made.left[level][0];
    });
    key.tests.forEach(function (test) { if (test.id in chosen && test.stops[chosen[test.id]]) made.stop.push(test.says[chosen[test.id]]); });
    made.state = key.states[key.stateOf[made.places[key["class"]]]];
    return made;
  }

  function counted(chosen, made) {
    var kept = {};
    key.order.inputs.forEach(function (name) {
      var gate = key.order.gates[name];
      var opened = !gate || Object.keys(gate).some(function (trait) { return gate[trait].indexOf(made.words[trait]) >= 0; });
      if (name in chosen && opened) kept[name] = chosen[name];
    });
    return kept;
  }

  /* The tests worth making, best first, as they were ranked at build; those done or skipped left out. */
  function ranking(chosen, left) {
    var made = conclude(chosen), of = {}, names, flagged;
    if (made.stop.length) return [];
    var kept = counted(chosen, made);
    key.parts.forEach(function (part) { of[part.key] = place(part, kept); });
    var state = key.stateOf[of[key["class"]]];
    flagged = Object.keys(key.order.flags).some(function (trait) { return key.order.flags[trait].indexOf(made.words[trait]) >= 0; });
    if (flagged && !made.words[key.order.drying_key]) names = key.order.flagged[state];
    else {
      names = key.order.lists[[state].concat(key.levels.map(function (level, i) {
        return key.states[state].levels[i] ? partOf(level).table[of[level]] : 0;
      })).concat(Object.keys(key.order.others).map(function (trait) {
        return key.order.others[trait][partOf(trait).table[of[trait]]];
      })).join(".")];
    }
    return (key.order.rankings[names] || []).filter(function (id) {
      var test = testOf(id);
      return !left[id] && !test.inputs.some(function (name) { return name in chosen; }) &&
        !test.without.some(function (trait) { return trait in made.words; });
    });
  }
  function partOf(name) { return key.parts.filter(function (part) { return part.key === name; })[0]; }
  function testOf(id) { return key.tests.filter(function (test) { return test.id === id; })[0]; }

  window.rousewortKeyLookup = { conclude: function (c) { return conclude(c); }, ranking: function (c, s) { return ranking(c, s); }, finding: function (id, n) { return finding(testOf(id).sums, n); } };

  /* --- the address */

  function keep() {
    var query = new URLSearchParams();
    Object.keys(key.inputs).forEach(function (name) {
      if (name in answers) query.set(name, Array.isArray(key.inputs[name]) ? key.inputs[name][answers[name]] : answers[name] + 1);
    });
    var left = Object.keys(skipped).filter(function (id) { return skipped[id]; });
    if (left.length) query.set("skip", left.join(","));
    var text = query.toString();
    try { history.replaceState(null, "", location.pathname + (text ? "?" + text : "")); } catch (e) { /* some browsers forbid it for files */ }
  }
  function recall() {
    var query = new URLSearchParams(location.search);
    Object.keys(key.inputs).forEach(function (name) {
      var given = query.get(name), options = key.inputs[name];
      if (given === null) return;
      var at = Array.isArray(options) ? options.indexOf(given) : /^[0-9]+$/.test(given) && given <= options ? given - 1 : -1;
      if (at >= 0) answers[name] = at;
    });
    (query.get("skip") || "").split(",").forEach(function (id) { if (testOf(id)) skipped[id] = true; });
  }

  /* --- drawing */

  function section(id) { return document.querySelector('[data-test="' + id + '"]'); }

  function drawInputs() {
    key.tests.forEach(function (test) {
      var place = section(test.id);
      place.querySelectorAll("[data-finding]").forEach(function (li) {
        var input = make("input"), p = li.querySelector(".rw-says"), text = make("label");
        input.type = "radio";
        input.name = test.id;
        input.value = li.dataset.finding - 1;
        text.append(input, " " + p.textContent);
        p.replaceChildren(text);
        input.addEventListener("change", function () { answers[test.id] = +input.value; delete skipped[test.id]; show(); });
      });
      place.querySelectorAll("[data-input]").forEach(function (box) {
        var name = box.dataset.input, p = make("p"), text = make("label", words(name).replace(/^./, function (c) { return c.toUpperCase(); }) + " "), select = make("select");
        select.name = name;
        select.append(new Option("not known", ""));
        key.inputs[name].forEach(function (word, i) { select.append(new Option(label(name, word), i)); });
        select.addEventListener("change", function () {
          if (select.value === "") delete answers[name]; else { answers[name] = +select.value; delete skipped[test.id]; }
          show();
        });
        text.append(select);
        p.append(text);
        box.querySelector("p").replaceWith(p);
      });
      if (test.sums) drawSums(test, place.querySelector(".rw-sums"));
      var row = make("p", "", "rw-after"), skip = make("button", "Skip this", "rw-button"), undo = make("button", "Take it back", "rw-button");
      skip.type = undo.type = "button";
      skip.className += " rw-skip";
      undo.className += " rw-undo";
      skip.addEventListener("click", function () { skipped[test.id] = true; forget(test); open = null; show(true); });
      undo.addEventListener("click", function () { delete skipped[test.id]; forget(test); show(); });
      row.append(skip, " ", undo);
      place.append(row);
    });
  }
  function forget(test) { test.inputs.forEach(function (name) { delete answers[name]; }); }

  function drawSums(test, box) {
    var numbers = typed[test.id] = {}, grid = make("div", "", "rw-grid"), out = make("p", "", "rw-worked");
    out.setAttribute("aria-live", "polite");
    box.append(make("p", "Your numbers find the finding:", "rw-quiet"), grid, out);
    test.sums.asks.forEach(function (ask) {
      var text = make("label", ask[1] + " "), input = make("input");
      input.type = "text";
      input.inputMode = "decimal";
      input.name = test.id + "." + ask[0];
      input.autocomplete = "off";
      if (ask[2] === "list") input.placeholder = "1.2 1.4 1.3";
      text.append(input);
      grid.append(text);
      input.addEventListener("input", function () {
        var all = input.value.trim().split(ask[2] === "list" ? /[;\s]+/ : "\u0000").filter(Boolean).map(function (t) { return Number(t.replace(",", ".")); });
        var sound = all.every(function (n) { return isFinite(n) && n >= 0 && (ask[2] !== "count" || n === Math.floor(n)); });
        input.setAttribute("aria-invalid", String(!sound));
        if (!all.length || !sound) delete numbers[ask[0]]; else numbers[ask[0]] = ask[2] === "list" ? all : all[0];
        work(test, numbers, out);
      });
    });
    box.hidden = false;
  }
  function work(test, numbers, out) {
    var got = finding(test.sums, numbers), text = Object.keys(got.numbers).filter(function (n) { return n in test.sums.gives; }).map(function (name) {
      return test.sums.gives[name] + ": " + +got.numbers[name].toPrecision(3);
    }).join("; ");
    out.textContent = got.impossible ? got.impossible.replace(/^./, function (c) { return c.toUpperCase(); }) + "." : text + (got.place === -1 ? (text ? ". " : "") + "No finding fits yet." : "");
    Object.keys(key.bands).forEach(function (trait) {
      if (test.inputs.indexOf(trait) < 0 || !(key.bands[trait].of in got.numbers)) return;
      var row = key.bands[trait].words.filter(function (w) { return got.numbers[key.bands[trait].of] >= w.least; })[0];
      answers[trait] = key.inputs[trait].indexOf(row.word);
    });
    if (got.place !== null && got.place >= 0) { answers[test.id] = got.place; delete skipped[test.id]; }
    show();
  }

  function link(word, short) {
    var text = label(key["class"], word), a = make("a", short ? text.split(" (")[0] : text);
    a.href = key.pages[word];
    return a;
  }

  function tell(made) {
    said.replaceChildren();
    made.stop.forEach(function (text) { said.append(make("p", text, "rw-caution")); });
    var name = key["class"], settled = made.words[name];
    if (made.against.length) {
      said.append(make("h3", "These contradict each other"));
      made.against.forEach(function (clash) {
        var ul = make("ul"), p = make("p", "So " + clash[3] + ".");
        ul.append(make("li", clash[1]), make("li", clash[2]));
        said.append(ul, p);
      });
    }
    if (made.stop.length) return;
    var level = key.levels.map(function (l) { return made.words[l]; }).filter(Boolean)[0], plan = settled || made.state.likely;
    var p = make("p", "", settled ? "rw-verdict rw-settled" : "rw-verdict");
    if (settled) { p.append("The class is "); p.append(link(settled)); p.append(level ? ", level " + label(key.levels.filter(function (l) { return made.words[l]; })[0], level) + "." : "."); }
    else {
      p.append(make("b", Object.keys(answers).length ? "The class is not known yet." : "Nothing is known yet."), Object.keys(answers).length ? " Still possible: " : " Among all plants here: ");
      made.state.chances.forEach(function (c, i) { p.append(i ? ", " : "", link(c[0], true), " " + c[1] + " %"); });
      p.append(".");
    }
    said.append(p);
    if (settled) said.append(make("p", key.means[settled]));
    key.levels.forEach(function (l, i) {
      if (made.left[l] && !made.words[l] && made.state.levels[i]) said.append(make("p", words(l) + ": " + made.left[l].map(function (w) { return label(l, w); }).join(", or ")));
    });
    var facts = Object.keys(made.words).filter(function (t) { return t !== name && key.levels.indexOf(t) < 0; });
    if (facts.length) {
      var dl = make("dl", "", "rw-facts");
      facts.forEach(function (t) { dl.append(make("dt", words(t)), make("dd", label(t, made.words[t]))); });
      said.append(dl);
    }
    if (plan && Object.keys(answers).length) {
      var steps = key.plans[plan + "." + (settled && level || "")] || key.plans[plan + "."], box = make("details", "", "rw-do"), ol = make("ol", "", "rw-steps");
      box.append(make("summary", settled ? "What to do" : "If you must begin now: what serves the likeliest class"));
      steps.advice.forEach(function (text) { box.append(make("p", text, "rw-caution")); });
      /* Built and escaped by the same templates as the rest of the handbook. */
      ol.innerHTML = steps.steps.map(function (i) { return key.pieces[i]; }).join("");
      box.append(ol, make("p", "In general for the class, for a grower with the usual things. With a name, and all that you saw, the command plans closer: rousewort observe NAME --save seen.yaml, then rousewort plan NAME --observations seen.yaml", "rw-quiet"));
      box.open = !!settled;
      said.append(box);
    }
  }

  function show(move) {
    var made = conclude(answers), next = ranking(answers, skipped)[0] || null, shown = open || next;
    keep();
    tell(made);
    asked.replaceChildren();
    if (made.stop.length) asked.append(make("p", "Stop here: see below."));
    else if (!next) asked.append(make("p", "Nothing more to ask: no observation left would change the plan much. Where classes are still open, a trial decides."));
    else {
      var test = testOf(next), p = make("p"), a = make("a", test.label);
      a.href = "#" + next;
      a.addEventListener("click", function (event) { event.preventDefault(); open = null; show(true); });
      p.append(a, ": " + test.cost + ".");
      asked.append(p, make("p", "Why: " + test.why));
    }
    list.replaceChildren();
    key.tests.forEach(function (test) {
      var li = make("li"), button = make("button", test.label, "rw-button"), done = test.inputs.some(function (n) { return n in answers; });
      button.type = "button";
      button.setAttribute("aria-expanded", String(test.id === shown));
      button.addEventListener("click", function () { open = test.id; show(true); });
      li.append(button, make("span", done ? " seen" : skipped[test.id] ? " skipped" : test.id === next ? " next" : "", "rw-quiet"));
      list.append(li);
      var place = section(test.id);
      place.hidden = test.id !== shown;
      place.classList.toggle("rw-done", done);
      place.querySelector(".rw-undo").hidden = !done && !skipped[test.id];
      place.querySelector(".rw-skip").hidden = done || !!skipped[test.id];
      place.querySelectorAll("input[type=radio]").forEach(function (input) {
        input.checked = answers[test.id] === +input.value;
        input.closest("li").classList.toggle("rw-chosen", input.checked);
      });
      place.querySelectorAll("select").forEach(function (select) { select.value = select.name in answers ? answers[select.name] : ""; });
    });
    if (move && shown) {
      var head = section(shown).querySelector("h2");
      head.tabIndex = -1;
      head.focus();
    }
  }

  window.rousewortKey = function (data) {
    key = data;
    recall();
    drawInputs();
    guide.hidden = false;
    document.querySelectorAll(".rw-noscript").forEach(function (e) { e.hidden = true; });
    guide.querySelector(".rw-next").after(document.querySelector(".rw-sections"));
    guide.querySelector(".rw-clear").addEventListener("click", function () {
      answers = {}; skipped = {}; open = null;
      document.querySelectorAll(".rw-sums input").forEach(function (i) { i.value = ""; });
      Object.keys(typed).forEach(function (id) { Object.keys(typed[id]).forEach(function (n) { delete typed[id][n]; }); });
      document.querySelectorAll(".rw-worked").forEach(function (p) { p.textContent = ""; });
      show(true);
    });
    if (testOf(location.hash.slice(1))) open = location.hash.slice(1);
    show();
    document.documentElement.dataset.key = "ready";
  };
  var element = document.createElement("script");
  element.src = script.dataset.file;
  document.head.appendChild(element);
})();
