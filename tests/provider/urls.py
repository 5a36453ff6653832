"""The provider's addresses."""

from django.urls import include, path

from tests.provider.__main__ import be, tell

urlpatterns = [
    path("o/", include("oauth2_provider.urls", namespace="oauth2_provider")),
    path("be", be),
    path("test/<str:what>", tell),
]
