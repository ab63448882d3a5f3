/* The search box: names, old names and common names, spelling forgiven. Fetches its list when it is first used. */
(function () {
  "use strict";
  var root = document.currentScript.dataset.root;
  var form = document.querySelector(".rw-search");
  if (!form) return;
  var input = form.querySelector("input"), hits = form.querySelector(".rw-hits"), hint = form.querySelector(".rw-hint");
  var ready = null;

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

  function index() {
    ready = ready || Promise.all([script("assets/scripts/minisearch.js"), script("data/names.js")]).then(function () {
      var search = new window.MiniSearch({
        fields: ["name", "others"],
        processTerm: plain,
        searchOptions: {
          boost: { name: 2 }, prefix: true, combineWith: "AND",
          fuzzy: function (term) { return term.length > 9 ? 3 : term.length > 4 ? 2 : term.length > 3 ? 1 : 0; },
          boostDocument: function (id) { return window.rousewortNames[id][3].indexOf("species/") ? 0.7 : 1; }
        }
      });
      search.addAll(window.rousewortNames.map(function (row, id) { return { id: id, name: row[0], others: row[1] }; }));
      return search;
    });
    return ready;
  }

  /* Built with text nodes only: nothing in a name can become markup. */
  function item(row) {
    var li = document.createElement("li"), a = document.createElement("a"), b = document.createElement("b"), s = document.createElement("span");
    a.href = root + row[3] + ".html";
    b.textContent = row[0];
    s.textContent = [row[1], row[2]].filter(Boolean).join(" · ");
    a.append(b, " ", s);
    li.appendChild(a);
    return li;
  }

  function find(words, most) {
    return index().then(function (search) {
      return search.search(words).slice(0, most).map(function (hit) { return window.rousewortNames[hit.id]; });
    });
  }

  function show() {
    var words = input.value.trim();
    if (!words) { hits.hidden = true; hint.textContent = ""; return; }
    find(words, 8).then(function (rows) {
      if (input.value.trim() !== words) return;
      hits.replaceChildren.apply(hits, rows.map(item));
      hits.hidden = !rows.length;
      hint.textContent = rows.length ? rows.length + " found" : "Nothing by that name";
      hint.classList.toggle("none", !rows.length);
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
    find(asked, 60).then(function (rows) {
      var p = document.createElement("p"), ul = document.createElement("ul");
      p.textContent = rows.length ? "Found for “" + asked + "”:" : "Nothing is called “" + asked + "” here. All names:";
      ul.className = "rw-names";
      ul.append.apply(ul, rows.map(item));
      place.append(p, ul);
    });
  }
})();
