// Says whether this phone trusts the certificate: then a picture comes over HTTPS.
const place = document.querySelector("[data-trusted]");
const probe = new Image();
const show = (trusted) => {
  place.querySelector("[data-yes]").hidden = !trusted;
  place.querySelector("[data-no]").hidden = trusted;
};
probe.addEventListener("load", () => show(true));
probe.addEventListener("error", () => show(window.isSecureContext));
probe.src = place.dataset.trusted;
