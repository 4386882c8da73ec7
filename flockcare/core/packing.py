"""Text goes out packed. Static files come packed from their storage; pictures and PDFs are so."""

from django.middleware.gzip import GZipMiddleware

TEXT = ("text/", "application/json", "application/manifest+json", "image/svg+xml")


class PackText(GZipMiddleware):
    """Safe beside secrets (BREACH), by what Django and the rest of the app do.

    What is packed is padded at random and the token of a form is masked anew each time, so that
    lengths tell little of either; other sites cannot ask with a keeper's cookie (SameSite); and
    the secret of a link is kept as a hash and shown once, in the answer to a form.
    """

    def process_response(self, request, response):
        if response.streaming or not response.get("Content-Type", "").startswith(TEXT):
            return response
        return super().process_response(request, response)
