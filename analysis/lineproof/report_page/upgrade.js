// Redraws each static figure from the definition beside it, so that it answers the pointer.
// Where anything fails the static drawing stays.
(function () {
  "use strict";
  // What scrolls sideways must be reached by keyboard too.
  function reach() {
    document.querySelectorAll(".drawing, .table").forEach(function (box) {
      if (box.scrollWidth > box.clientWidth + 1) { box.setAttribute("tabindex", "0"); } else { box.removeAttribute("tabindex"); }
    });
  }
  window.addEventListener("resize", reach);
  reach();
  var options = { actions: false, renderer: "svg", ast: false, loader: { load: function () { return Promise.reject(new Error("offline")); } } };
  document.querySelectorAll("figure.chart").forEach(function (figure) {
    var still = figure.querySelector(".drawing");
    var definition = JSON.parse(figure.querySelector("script.definition").textContent);
    var live = document.createElement("div");
    live.className = "drawing live";
    window.vegaEmbed(live, definition, options).then(function () {
      // The figure describes its drawing as a whole; the parts have no names of their own.
      live.querySelector("svg").setAttribute("aria-hidden", "true");
      live.setAttribute("role", "img");
      live.setAttribute("aria-label", still.getAttribute("aria-label"));
      still.replaceWith(live);
      reach();
    }).catch(function () { live.remove(); });
  });
}());
