// Draws the charts of a page. The library is large, so it is fetched only when a chart comes into view.
(function () {
  const own = document.currentScript;
  const nonce = own.nonce || own.getAttribute("nonce");

  // The library adds style elements while it loads; without the page's nonce the browser would refuse them.
  function withNonce(act) {
    const make = document.createElement;
    document.createElement = function (name, options) {
      const made = make.call(document, name, options);
      if (String(name).toLowerCase() === "style") made.nonce = nonce;
      return made;
    };
    return act().finally(() => { document.createElement = make; });
  }

  let library = null;

  function loadLibrary() {
    library = library || withNonce(() => new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = own.dataset.library;
      script.nonce = nonce;
      script.onload = done;
      script.onerror = failed;
      document.head.append(script);
    }));
    return library;
  }

  async function draw(place) {
    const figure = JSON.parse(document.getElementById(place.dataset.figure).textContent);
    try {
      await loadLibrary();
    } catch (error) {
      place.textContent = place.dataset.failed;
      return;
    }
    place.textContent = "";
    await window.Plotly.newPlot(place, figure.data, figure.layout, { responsive: true, displayModeBar: false });
    place.on("plotly_click", (click) => {
      const url = click.points.map((point) => point.customdata).find(Boolean);
      if (url) window.location.assign(url);
    });
    place.dataset.drawn = "yes";
  }

  const watcher = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      if (entry.isIntersecting) {
        watcher.unobserve(entry.target);
        draw(entry.target);
      }
    }
  }, { rootMargin: "400px" });
  document.querySelectorAll("[data-figure]").forEach((place) => watcher.observe(place));
})();
