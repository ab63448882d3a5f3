/* A plant without an entry: the plan that its genus or family lends, made when the handbook was built. The page puts in the name that was asked for. */
(function () {
  "use strict";
  var top = document.currentScript.dataset.top, place = document.getElementById("rw-for");
  var name = (new URLSearchParams(location.search).get("for") || "").replace(/\s+/g, " ").trim().slice(0, 80);
  if (!place || !name) return;
  name = name.charAt(0).toUpperCase() + name.slice(1);
  var genus = name.split(" ")[0], body = document.getElementById("rw-lent");

  place.hidden = false;
  place.querySelectorAll(".rw-asked").forEach(function (element) { element.textContent = name; });
  document.title = name + " · " + document.title;
  if (!body) return;

  function read(path) {
    var element = document.createElement("script");
    element.src = top + path;
    element.onerror = unknown;
    document.head.appendChild(element);
  }
  function unknown() { document.getElementById("rw-unknown").hidden = false; }

  window.rousewortRelatives = function (data) {
    /* Made and escaped by the same templates as other pages; the name goes in as text. */
    body.innerHTML = data.texts[data.of[genus]];
    var walk = document.createTreeWalker(body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) walk.currentNode.nodeValue = walk.currentNode.nodeValue.split(data.name).join(name);
    document.getElementById("rw-kin").textContent = data.family;
    if (data.page) document.getElementById("rw-kin").href = top + data.page + ".html";
    document.dispatchEvent(new Event("rousewort:shown"));
  };
  window.rousewortKin(genus).then(function (kin) {
    if (!kin) { unknown(); return; }
    genus = kin.name;
    read("data/relatives/" + kin.family.toLowerCase() + ".js");
  });
})();
