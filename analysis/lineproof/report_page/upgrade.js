// Redraws each static figure from the definition beside it, so that it answers the pointer.
// Where anything fails the static drawing stays.
(function () {
  "use strict";
  var options = { actions: false, renderer: "svg", ast: false, loader: { load: function () { return Promise.reject(new Error("offline")); } } };
  document.querySelectorAll("figure.chart").forEach(function (figure) {
    var still = figure.querySelector(".drawing");
    var definition = JSON.parse(figure.querySelector("script.definition").textContent);
    var live = document.createElement("div");
    live.className = "drawing live";
    window.vegaEmbed(live, definition, options).then(function () {
      live.setAttribute("role", "img");
      live.setAttribute("aria-label", still.getAttribute("aria-label"));
      still.replaceWith(live);
    }).catch(function () { live.remove(); });
  });
}());
