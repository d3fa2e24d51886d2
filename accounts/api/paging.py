"""How lists are paged for programs."""

from rest_framework.pagination import PageNumberPagination


class Pages(PageNumberPagination):
    """Numbered pages of 50; ``?page_size=`` asks for up to 200."""

    page_size_query_param = "page_size"
    max_page_size = 200
