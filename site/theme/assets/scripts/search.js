/* The search box: every plant, also those without an entry, and the words of the trade; spelling forgiven. Fetches its lists when it is first used. */
(function () {
  "use strict";
  var root = document.currentScript.dataset.root, form = document.querySelector(".rw-search");
  if (!form) return;
  var input = form.querySelector("input"), hits = form.querySelector(".rw-hits"), hint = form.querySelector(".rw-hint");
  var ready = null, shards = {}, waiting = {}, MOST = 40;

  function script(path) {
    return new Promise(function (done, failed) {
      var element = document.createElement("script");
      element.src = root + path;
      element.onload = done;
      element.onerror = failed;
      document.head.appendChild(element);
    });
  }

  function plain(word) {
    return word.normalize("NFKD").replace(/[\u0300-\u036f'’`]/g, "").toLowerCase();
  }

  /* A row of the list: name, other names, what it is, page, names in other languages and words that lead to it. */
  function index() {
    ready = ready || Promise.all([script("assets/scripts/minisearch.js"), script("data/names.js")]).then(function () {
      var search = new window.MiniSearch({
        fields: ["name", "others", "words"],
        processTerm: plain,
        searchOptions: {
          boost: { name: 2, words: 0.7 }, prefix: true, combineWith: "AND",
          fuzzy: function (term) { return term.length > 4 ? 2 : term.length > 3 ? 1 : 0; },
          boostDocument: function (id) { var page = window.rousewortNames[id][3]; return page.indexOf("species/") === 0 ? 1 : page.indexOf("glossary") === 0 ? 0.4 : 0.7; }
        }
      });
      search.addAll(window.rousewortNames.map(function (row, id) { return { id: id, name: row[0], others: row[1], words: row[4] || "" }; }));
      return search;
    });
    return ready;
  }

  /* How many letters apart two words are, or more than `most`. */
  function apart(one, other, most) {
    if (Math.abs(one.length - other.length) > most) return most + 1;
    var before = [], row, i, j;
    for (j = 0; j <= other.length; j += 1) before.push(j);
    for (i = 1; i <= one.length; i += 1) {
      row = [i];
      for (j = 1; j <= other.length; j += 1) row.push(Math.min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (one[i - 1] === other[j - 1] ? 0 : 1)));
      before = row;
    }
    return before[other.length];
  }

  window.rousewortGenera = function (letter, families) { shards[letter] = families; };

  /* The genus that the first word names, among all that exist: { name, family, apart }, or null. */
  function genus(words) {
    var first = plain(words.split(/\s+/)[0] || ""), letter = first.charAt(0);
    if (!/^[a-z][a-z-]{2,}$/.test(first)) return Promise.resolve(null);
    waiting[letter] = waiting[letter] || script("data/genera/" + letter + ".js").catch(function () { shards[letter] = {}; });
    return waiting[letter].then(function () {
      var best = null, most = first.length > 6 ? 2 : first.length > 4 ? 1 : 0;
      Object.keys(shards[letter] || {}).forEach(function (family) {
        shards[letter][family].forEach(function (name) {
          var far = apart(first, name.toLowerCase(), most);
          if (far <= most && (!best || far < best.apart)) best = { name: name, family: family, apart: far };
        });
      });
      return best;
    });
  }

  window.rousewortKin = genus;

  function page(row) { var parts = row[3].split("#"); return root + parts[0] + ".html" + (parts[1] ? "#" + parts[1] : "") + (row[5] || ""); }

  /* Built with text nodes only: nothing in a name can become markup. */
  function item(row) {
    var li = document.createElement("li"), a = document.createElement("a"), b = document.createElement("b"), s = document.createElement("span");
    a.href = page(row);
    b.textContent = row[0];
    s.textContent = [row[1], row[2]].filter(Boolean).join(" · ");
    a.append(b, " ", s);
    li.appendChild(a);
    return li;
  }

  /* A plant without an entry still has the plan that its relatives lend. */
  function withKin(rows, words, kin) {
    if (!kin) return rows;
    var rest = words.split(/\s+/).slice(1).join(" "), name = kin.name + (rest ? " " + rest : "");
    var own = window.rousewortNames.find(function (row) { return row[0] === kin.name && row[2] === "genus"; });
    if (rows.some(function (row) { return plain(row[0]) === plain(name) || plain(row[1]).split("; ").indexOf(plain(name)) >= 0; })) return rows;
    if (!rest && own) return rows;
    var made = [name, "no entry; a plan from its relatives", kin.family, own ? own[3] : "genera/without-entry", "", "?for=" + encodeURIComponent(name)];
    var place = kin.apart ? Math.min(rows.length, 2) : 0;
    return rows.slice(0, place).concat([made], rows.slice(place));
  }

  function find(words) {
    return Promise.all([index(), genus(words)]).then(function (found) {
      return withKin(found[0].search(words).map(function (hit) { return window.rousewortNames[hit.id]; }), words, found[1]);
    });
  }

  var ELSEWHERE = [["By its family", "the plan that each lends", "", "families"], ["Unknown seed", "look at it, and find its class", "", "key"], ["Known weak spots", "what is not known", "", "trust#known-weak-spots"]];

  function show() {
    var words = input.value.trim();
    if (!words) { hits.hidden = true; hint.textContent = ""; return; }
    find(words).then(function (rows) {
      if (input.value.trim() !== words) return;
      var shown = rows.length ? rows.slice(0, MOST) : ELSEWHERE;
      hits.replaceChildren.apply(hits, shown.map(item));
      if (rows.length > MOST) hits.appendChild(item(["All " + rows.length + " hits", "", "", "find", "", "?q=" + encodeURIComponent(words)]));
      hits.hidden = false;
      hint.textContent = rows.length ? rows.length + " found" : "Nothing by that name: three ways on";
    });
  }

  input.addEventListener("focus", index);
  input.addEventListener("input", show);
  form.addEventListener("submit", function (event) {
    var first = hits.querySelector("a");
    if (!hits.hidden && first) { event.preventDefault(); location.href = first.href; }
  });
  form.addEventListener("keydown", function (event) {
    var links = Array.from(hits.querySelectorAll("a")), here = links.indexOf(document.activeElement);
    if (event.key === "Escape") { hits.hidden = true; input.focus(); }
    if (event.key === "ArrowDown" && links.length) { event.preventDefault(); links[Math.min(here + 1, links.length - 1)].focus(); }
    if (event.key === "ArrowUp" && here >= 0) { event.preventDefault(); (links[here - 1] || input).focus(); }
  });
  document.addEventListener("click", function (event) { if (!form.contains(event.target)) hits.hidden = true; });

  var asked = new URLSearchParams(location.search).get("q"), place = document.getElementById("rw-found");
  if (asked && place) {
    input.value = asked;
    find(asked.trim()).then(function (rows) {
      var p = document.createElement("p"), ul = document.createElement("ul");
      p.textContent = rows.length ? rows.length + " found for “" + asked + "”:" : "Nothing is called “" + asked + "” here. Ways on, and all names:";
      ul.className = "rw-names";
      ul.append.apply(ul, (rows.length ? rows : ELSEWHERE).map(item));
      place.append(p, ul);
    });
  }
})();
