"""The pages on a real port with a real store, and a browser's manners to ask them."""

from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser

from aiohttp import FormData, web
from aiohttp.test_utils import TestClient, TestServer
from aiohttp.typedefs import Middleware
from multidict import CIMultiDictProxy
from yarl import URL

from fadewatch_collector.edge.setup import add_edge
from fadewatch_collector.rules.operators import Role
from fadewatch_collector.store.accounts import add_operator
from fadewatch_collector.usecases.accounts import open_session
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.keys import SIGNING
from fadewatch_collector.web.setup import add_pages

NAME = "mira"
PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator


@dataclass(slots=True)
class Node:
    """One element: its attributes, the text inside it, and what it stands in."""

    tag: str
    attributes: dict[str, str | None]
    inside: tuple[str, ...] = ()
    text: str = ""


class _Reader(HTMLParser):
    VOID = frozenset({"meta", "link", "input", "br"})

    def __init__(self) -> None:
        super().__init__()
        self.nodes: list[Node] = []
        self._open: list[Node] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, dict(attrs), tuple(one.tag for one in self._open))
        self.nodes.append(node)
        if tag not in self.VOID:
            self._open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.nodes.append(Node(tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop().tag != tag:
            pass

    def handle_data(self, data: str) -> None:
        for node in self._open:
            node.text += data


@dataclass(frozen=True, slots=True)
class Page:
    """An answer that was read whole."""

    status: int
    headers: CIMultiDictProxy[str]
    body: str
    url: URL
    nodes: list[Node] = field(repr=False)

    def all(self, tag: str, **attributes: str) -> list[Node]:
        """Return the elements with a tag and these attributes."""
        wanted = {name.rstrip("_"): value for name, value in attributes.items()}
        return [
            node
            for node in self.nodes
            if node.tag == tag and wanted.items() <= node.attributes.items()
        ]

    def one(self, tag: str, **attributes: str) -> Node:
        """Return the only such element."""
        (node,) = self.all(tag, **attributes)
        return node

    def field(self, name: str) -> str:
        """Return the value of a hidden field; all of that name have the same one."""
        (value,) = {node.attributes["value"] for node in self.all("input", name=name)}
        assert value is not None
        return value

    @property
    def texts(self) -> str:
        """What a person reads, with single blanks."""
        return " ".join(self.one("main").text.split())


@dataclass(frozen=True, slots=True)
class Pages:
    """Running pages and a browser."""

    client: TestClient[web.Request, web.Application]
    services: Services

    async def get(self, path: str, headers: Mapping[str, str] | None = None) -> Page:
        """Open a page, following redirects."""
        return await self._read("GET", path, None, headers, follow=True)

    async def ask(self, path: str, method: str = "GET") -> Page:
        """Send one request and follow nothing."""
        return await self._read(method, path, None, None, follow=False)

    async def post(
        self,
        path: str,
        form: Mapping[str, str] | FormData,
        headers: Mapping[str, str] | None = None,
    ) -> Page:
        """Send a form and follow nothing."""
        return await self._read("POST", path, form, headers, follow=False)

    async def try_sign_in(self, name: str, password: str) -> Page:
        """Open the sign-in page and send its form."""
        token = (await self.get("/sign-in")).field("form_token")
        return await self.post(
            "/sign-in", {"form_token": token, "name": name, "password": password}
        )

    @asynccontextmanager
    async def stranger(self) -> AsyncIterator["Pages"]:
        """Give a browser that was never here, at the same address."""
        server = self.client.server
        assert isinstance(server, TestServer)
        client = TestClient(server)
        try:
            yield Pages(client, self.services)
        finally:
            await client.session.close()

    async def sign_in(self, role: Role = "technician") -> str:
        """Be signed in as a new operator, and return the session's token."""
        async with self.services.store.writing() as connection:
            operator = await add_operator(
                connection, NAME, role, "no password", self.services.clock()
            )
        token = await open_session(self.services, operator)
        self.be(token)
        return token

    def be(self, session: str) -> None:
        """Carry a session's cookie."""
        server = self.client.server
        assert isinstance(server, TestServer)
        sealed = server.app[SIGNING].sealed(f"session:{session}")
        self.client.session.cookie_jar.update_cookies(
            {"fadewatch-session": sealed}, self.client.make_url("/")
        )

    async def _read(
        self,
        method: str,
        path: str,
        form: Mapping[str, str] | FormData | None,
        headers: Mapping[str, str] | None,
        *,
        follow: bool,
    ) -> Page:
        async with self.client.request(
            method, path, data=form, headers=headers, allow_redirects=follow
        ) as answer:
            body = (await answer.read()).decode()
            reader = _Reader()
            reader.feed(body)
            return Page(answer.status, answer.headers, body, answer.url, reader.nodes)


@asynccontextmanager
async def running_pages(
    services: Services, port: int | None = None, before: Sequence[Middleware] = ()
) -> AsyncIterator[Pages]:
    """Run the pages alone, on a free port unless one is given.

    Parameters
    ----------
    before
        What stands before all that the pages bring.
    """
    app = web.Application(middlewares=before)
    add_edge(app, services.settings)
    add_pages(app, services)

    async def fails(_request: web.Request) -> web.Response:
        raise RuntimeError("a secret detail")

    async def breaks_off(request: web.Request) -> web.StreamResponse:
        answer = web.StreamResponse()
        await answer.prepare(request)
        await answer.write(b"the first half")
        raise RuntimeError("a secret detail")

    app.router.add_get("/test/fails", fails)
    app.router.add_get("/test/breaks-off", breaks_off)
    app.router.add_get("/api/test", _plain)
    async with TestClient(TestServer(app, host="127.0.0.1", port=port)) as client:
        yield Pages(client, services)


async def _plain(_request: web.Request) -> web.Response:
    return web.Response(text="from the API")
