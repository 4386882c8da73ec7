"""Answers for htmx requests."""

from django.http import HttpResponse


def redirect_whole_page(get_response):
    """Turn the redirect to the sign-in page into one that leaves the page.

    A browser follows a plain redirect inside the request, so htmx would put the sign-in form
    into the piece of the page that was being renewed.
    """

    def middleware(request):
        response = get_response(request)
        if request.htmx and response.status_code == 302:
            answer = HttpResponse(status=204, headers={"HX-Redirect": response.headers["Location"]})
            answer.cookies = response.cookies  # the message for the next page is in one
            return answer
        return response

    return middleware
