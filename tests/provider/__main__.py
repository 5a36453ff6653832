"""Serve the provider over TLS: ``python -m tests.provider PORT CERTIFICATE KEY``.

The protocol is django-oauth-toolkit's own. What is ours: who is there and with which
groups, signing in there by naming oneself (the collector must not care how the provider
knows people), and addresses below ``/test/`` by which a test changes things.
"""

import socketserver
import ssl
import sys
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

import django
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from django.conf import settings
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, HttpResponse

GROUPS: dict[str, tuple[list[str], str]] = {}


class Server(socketserver.ThreadingMixIn, WSGIServer):
    """One thread a connection, as browsers keep several open."""

    daemon_threads = True


class Quiet(WSGIRequestHandler):
    """Logs no request."""

    def log_message(self, *_arguments: Any) -> None:
        pass


def new_key() -> str:
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ).decode()


def configure(port: str) -> None:
    settings.configure(
        SECRET_KEY="of a test",  # noqa: S106
        ALLOWED_HOSTS=["127.0.0.1"],
        ROOT_URLCONF="tests.provider.urls",
        INSTALLED_APPS=[
            "django.contrib.auth",
            "django.contrib.contenttypes",
            "django.contrib.sessions",
            "oauth2_provider",
        ],
        MIDDLEWARE=[
            "django.contrib.sessions.middleware.SessionMiddleware",
            "django.contrib.auth.middleware.AuthenticationMiddleware",
        ],
        DATABASES={
            "default": {
                "ENGINE": "django.db.backends.sqlite3",
                "NAME": "file:provider?mode=memory&cache=shared",
                "OPTIONS": {"uri": True},
            }
        },
        TEMPLATES=[
            {
                "BACKEND": "django.template.backends.django.DjangoTemplates",
                "APP_DIRS": True,
            }
        ],
        LOGIN_URL="/not-signed-in",
        DEFAULT_AUTO_FIELD="django.db.models.BigAutoField",
        USE_TZ=True,
        OAUTH2_PROVIDER={
            "OIDC_ENABLED": True,
            "OIDC_RSA_PRIVATE_KEY": new_key(),
            "OIDC_ISS_ENDPOINT": f"https://127.0.0.1:{port}/o",
            "OIDC_RP_INITIATED_LOGOUT_ENABLED": True,
            "OIDC_RP_INITIATED_LOGOUT_ALWAYS_PROMPT": False,
            "PKCE_REQUIRED": True,
            "OAUTH2_VALIDATOR_CLASS": "tests.provider.claims.Claims",
            "SCOPES": {"openid": "who", "profile": "about"},
            "ALLOWED_REDIRECT_URI_SCHEMES": ["http", "https"],
        },
    )
    django.setup()


def be(request: HttpRequest) -> HttpResponse:
    """Sign in there as the person named."""
    from django.contrib.auth import get_user_model, login

    person = get_user_model().objects.get(username=request.GET["name"])
    login(request, person, "django.contrib.auth.backends.ModelBackend")
    return HttpResponse("signed in there")


def tell(request: HttpRequest, what: str) -> HttpResponse:
    """Do what a test asks for."""
    {"person": have, "collector": send_back, "new-key": rotate, "ready": len}[what](
        request.GET
    )
    return HttpResponse("done")


def have(asked: Any) -> None:
    from django.contrib.auth import get_user_model

    get_user_model().objects.get_or_create(username=asked["name"])
    groups = [one for one in asked["groups"].split(",") if one]
    GROUPS[asked["name"]] = (groups, asked["called"])


def send_back(asked: Any) -> None:
    from oauth2_provider.models import get_application_model

    from tests.provider import CLIENT_ID, CLIENT_SECRET

    applications = get_application_model()
    applications.objects.filter(client_id=CLIENT_ID).delete()
    applications.objects.create(
        client_id=CLIENT_ID,
        client_secret=CLIENT_SECRET,
        client_type=applications.CLIENT_CONFIDENTIAL,
        authorization_grant_type=applications.GRANT_AUTHORIZATION_CODE,
        redirect_uris=asked["address"] + "/sign-in/organisation/back",
        post_logout_redirect_uris=asked["address"] + "/sign-in",
        skip_authorization=True,
        algorithm=applications.RS256_ALGORITHM,
    )


def rotate(_asked: Any) -> None:
    from oauth2_provider.settings import oauth2_settings

    oauth2_settings.OIDC_RSA_PRIVATE_KEY = new_key()


def main() -> None:
    port, certificate, key = sys.argv[1:]
    # The addresses and claims name this module by its own name.
    sys.modules["tests.provider.__main__"] = sys.modules["__main__"]
    configure(port)
    call_command("migrate", verbosity=0)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    application = get_wsgi_application()
    with make_server("127.0.0.1", int(port), application, Server, Quiet) as server:
        server.socket = context.wrap_socket(server.socket, server_side=True)
        server.serve_forever()


if __name__ == "__main__":
    main()
