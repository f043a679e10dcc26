"""Pages of papers, made once for amplifiers and benches: the form, the file, the states."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import Response

from wattproof.errors import WattproofError
from wattproof.tasks import PaperDesk, PaperSeen
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in, whole_in
from wattproof.web.pages.paper_forms import PaperForm, rows_changed, state_in, typed_in


@dataclass(frozen=True, kw_only=True)
class PaperPages:
    """The pages of papers of one kind.

    Attributes
    ----------
    kind : str
        "amplifier" or "bench": what a paper is of, and its template.
    here, address : str
        Which part of the navigation they belong to, and where they are.
    papers : callable
        Gives the desk's papers of this kind.
    more : callable
        Gives what the template shows besides: of the desk, the paper's name, the form, the state that is shown (None of
        a new one), and what else the page was told.
    """

    kind: str
    here: str
    address: str
    papers: Callable[[Desk], PaperDesk[Any]]
    more: Callable[[Desk, str, PaperForm, PaperSeen | None, Mapping[str, Any]], dict[str, Any]]

    def router(self) -> APIRouter:
        """Give the routes, to be added after the kind's own: a paper may be called anything."""
        router = APIRouter(include_in_schema=False)
        router.get("/new")(self.new)
        router.post("/new")(self.keep_new)
        router.get("/{name}")(self.one)
        router.post("/{name}")(self.keep)
        router.post("/{name}/text")(self.keep_text)
        router.post("/{name}/back")(self.back)
        router.get("/{name}/file")(self.file)
        return router

    def new(self, request: Request, desk: TheDesk) -> Response:
        """Show the form of one of which nothing is known yet."""
        return self._page(request, desk, "", PaperForm(typed=self.papers(desk).blank()))

    async def keep_new(self, request: Request, desk: TheDesk, form: Form) -> Response:
        """Keep a new one, or do with its rows what a button asked for."""
        return await asyncio.to_thread(self._done, request, desk, "", form)

    def one(self, request: Request, desk: TheDesk, name: str, state: int | None = None) -> Response:
        """Show a paper, or one of its states."""
        return self.shown(request, desk, name, number=state)

    async def keep(self, request: Request, desk: TheDesk, name: str, form: Form) -> Response:
        """Keep what was typed, or do with its rows what a button asked for."""
        return await asyncio.to_thread(self._done, request, desk, name, form)

    async def keep_text(self, request: Request, desk: TheDesk, name: str, form: Form) -> Response:
        """Keep the file as it was typed; what is wrong with it is told by line."""
        text = str(form.get("text", ""))
        try:
            await asyncio.to_thread(self.papers(desk).keep_text, text, name=name)
        except WattproofError as error:
            return await asyncio.to_thread(
                self.shown, request, desk, name, status=422, text=text, text_fault=error
            )  # fmt: skip
        return desk.go(f"{self.address}/{name}#file", kept=True)

    async def back(self, desk: TheDesk, name: str, form: Form) -> Response:
        """Take the last change back, or take any state."""
        await asyncio.to_thread(self.papers(desk).back, name, to=whole_in(form, "to"))
        return desk.go(f"{self.address}/{name}")

    def file(self, desk: TheDesk, name: str) -> Response:
        """Give the file itself."""
        seen = self.papers(desk).see(name)
        head = {"content-disposition": f'attachment; filename="{seen.name}.toml"'}
        return Response(seen.text, media_type="application/toml", headers=head)

    def shown(
        self,
        request: Request,
        desk: Desk,
        name: str,
        *,
        number: int | None = None,
        status: int = 200,
        **said: Any,  # noqa: ANN401
    ) -> Response:
        """Answer with a paper's page as it is kept."""
        seen = self.papers(desk).see(name, number=number)
        form = PaperForm(typed=seen.typed or self.papers(desk).blank())
        return self._page(
            request, desk, seen.name, form, status=status, seen=seen, **{"text_fault": seen.fault, **said}
        )

    def _done(self, request: Request, desk: Desk, name: str, form: FormData) -> Response:
        papers, typed = self.papers(desk), typed_in(form)
        seen = papers.see(name, number=state_in(form)) if name else None
        if rows_changed(papers, form, typed) or text_in(form, "do") == "look":
            return self._page(request, desk, name, PaperForm(typed=typed, given_back=True), seen=seen)
        made = papers.keep_form(typed, name=name, number=state_in(form))
        if made.name is None:
            shown = PaperForm(typed=typed, wrong=dict(made.wrong), fault=made.fault, given_back=True)
            return self._page(request, desk, name, shown, status=422, seen=seen)
        return desk.go(f"{self.address}/{made.name}", kept=True)

    def _page(
        self,
        request: Request,
        desk: Desk,
        name: str,
        form: PaperForm,
        *,
        status: int = 200,
        seen: PaperSeen | None = None,
        **said: Any,  # noqa: ANN401
    ) -> Response:
        papers = self.papers(desk)
        called = f"New {self.kind}" if seen is None else seen.called
        known = {"text": None, "text_fault": None, **said, **self.more(desk, name, form, seen, said)}
        return desk.page(
            request, f"{self.kind}.html.j2", status=status, here=self.here, title=called, called=called, name=name,
            parts_of_form=papers.parts, shown=form, blank={part.key: papers.row(part) for part in papers.parts},
            seen=seen, **known,
        )  # fmt: skip
