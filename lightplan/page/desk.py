"""The desk: the work that is open, the tabs that look at it, the pictures that are being made."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput, LightplanError
from lightplan.faults import CAUGHT, as_told
from lightplan.landing import Landing
from lightplan.page.clients import Client, Clients
from lightplan.page.frames import packed
from lightplan.page.loading import SIGHT, TOOLS, load
from lightplan.page.rig_seen import close_document, cure_document, frame_head
from lightplan.session import folders
from lightplan.session.document import ChangedElsewhere, Document
from lightplan.session.jobs import Job, Jobs
from lightplan.session.live_picture import Live
from lightplan.session.reader import Reader

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from lightplan.page.uploads import Dropped
    from lightplan.session.live_picture import Wanted

SAVE_EVERY_S = 0.7
LOOK_EVERY_S = 1.5
"""How often the file is looked at for what an editor changed."""
REST_S = 0.25
"""A hand that has not moved for so long rests."""
MOST_MADE = 2000
MOST_DROPPED = 4


class Desk:
    """Everything behind the page.

    Parameters
    ----------
    place : str or None
        What to open: a rig file, a shoot folder, the name of a preset; None: the shelf.

    Raises
    ------
    BadInput
        When it cannot be opened.
    """

    def __init__(self, place: str | None) -> None:
        self.clients = Clients()
        self.document: Document | None = None
        self._clear()
        self._made: dict[str, tuple[bytes | Path, str]] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._live: Live | None = None
        self._eyes: Jobs | None = None
        self._hands: Jobs | None = None
        self._brush: Jobs | None = None
        self._rest: asyncio.TimerHandle | None = None
        self._can_see = asyncio.Event()
        self._can_work = asyncio.Event()
        self._asked_about = ""
        self.dropped: dict[str, Any] = {}
        self.pictures: dict[str, str] = {}
        self.is_looking = False
        self.reader = Reader()
        self.errands: set[asyncio.Task[None]] = set()
        if place is not None:
            self._open_file(folders.rig_in(place))

    # -- life ------------------------------------------------------------------------------

    @property
    def title(self) -> str:
        """What is open, for the line in the terminal."""
        return "the shelf" if self.document is None else self.document.rig.title

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        """Start what runs beside the page."""
        self._loop = loop
        self._live = Live(self._from_thread(self._seen))
        self._eyes = Jobs(self._from_thread(self._looked))
        self._hands = Jobs(self._from_thread(self._worked))
        self._brush = Jobs(self._from_thread(self._worked))
        self._tasks = [asyncio.create_task(each) for each in (self._load(), self._keep_saving())]

    async def end(self) -> None:
        """Put everything on the disk and end what runs."""
        for task in (*self._tasks, *self.errands):
            task.cancel()
        if self._rest is not None:
            self._rest.cancel()  # or work would begin after the end
        with contextlib.suppress(LightplanError):
            if self.document is not None:
                self.document.save()
        for jobs in (self._eyes, self._hands, self._brush):
            if jobs is not None:
                jobs.close()
        self.reader.close()
        if self._live is not None:
            self._live.close()

    async def _load(self) -> None:
        """Load what follows the hand, then what long work needs, while the page already answers."""
        loop = asyncio.get_running_loop()
        await loop.run_in_executor(None, load, SIGHT)
        self._can_see.set()
        self._show()
        self.reader.begin()
        await loop.run_in_executor(None, load, TOOLS)
        self._can_work.set()
        self._rest_later()

    def _from_thread(self, heard: Callable[..., None]) -> Callable[..., None]:
        """Return a function that passes what it is told on to the page's own thread."""

        def told(*arguments: Any) -> None:
            with contextlib.suppress(RuntimeError):  # the page has gone
                assert self._loop is not None
                self._loop.call_soon_threadsafe(heard, *arguments)

        return told

    # -- the work --------------------------------------------------------------------------

    def open(self, path: Path) -> None:
        """Open another work in every tab."""
        if self.document is not None:
            self.document.save()
        self._open_file(path)
        self._clear()
        for purpose in ("plan", "looks", "kit", "setup", "advise", "ledger", "score"):
            self.hands.stop(purpose)
        self.tell_work()
        self._show()

    def _clear(self) -> None:
        """Forget all that belongs to the work that was open."""
        self.layout: dict[str, Any] | None = None
        self.frame: bytes | None = None
        self.close_look: dict[str, Any] = {}
        self.cures: dict[int, Any] = {}
        self.plans: list[Any] = []
        self.looks: list[Any] = []
        self.offers: list[Any] = []
        self.told: dict[str, dict[str, Any]] = {}
        self.photos: dict[str, dict[str, Any]] = {}
        self.verdicts: dict[str, Any] = {}
        self.watched: Path | None = None
        self.to_paint: list[Path] = []
        self.landing = Landing()

    def _open_file(self, path: Path) -> None:
        self.document = Document(path)
        self._asked_about = ""
        folders.remember(self.document.path)

    def the_document(self) -> Document:
        """Return the document; refuse where nothing is open."""
        if self.document is None:
            raise BadInput(
                field="work", wanted="opened first", got="none", cure="choose one from the shelf"
            )
        return self.document

    def changed(self, mark: Any = None) -> None:
        """Show what the document now is, everywhere."""
        self.tell_work()
        self._show(mark)

    def tell_work(self) -> None:
        """Tell every tab what is open and what can be undone."""
        self.clients.say(self._work())

    def _work(self) -> dict[str, Any]:
        document = self.document
        if document is None:
            return {"is": "work", "open": False}
        return {
            "is": "work",
            "open": True,
            "file": document.path.name,
            "folder": str(document.path.parent),
            "title": document.rig.title,
            "revision": document.revision,
            "undo": document.can_undo,
            "redo": document.can_redo,
            "saved": document.is_saved,
        }

    def _show(self, mark: Any = None) -> None:
        document = self.document
        if self._live is None or document is None or not self._can_see.is_set():
            return
        if self._rest is not None:
            self._rest.cancel()
            self._rest = None
        if self._eyes is not None:
            self._eyes.stop("closer")
        self._live.show(document.rig, document.revision, mark)

    def _rest_later(self) -> None:
        """Look closely once the hand has rested: not before its own picture is there."""
        if self._loop is not None and self._can_work.is_set():
            self._rest = self._loop.call_later(REST_S, self._look_closely)

    def _look_closely(self) -> None:
        from lightplan.tasks.closer import look_closely

        if self._eyes is None or self.document is None:
            return
        self._eyes.stop("closer")
        document = self.document
        self._eyes.add("closer", look_closely, document.rig, document.revision)

    async def _keep_saving(self) -> None:
        """Put changes on the disk as they come, and look for those of other programs."""
        loop, looked = asyncio.get_running_loop(), 0.0
        while True:
            await asyncio.sleep(SAVE_EVERY_S)
            document = self.document
            if document is None:
                continue
            try:
                if await loop.run_in_executor(None, document.save):
                    self._tell_kept(document)
                if loop.time() - looked > LOOK_EVERY_S:
                    looked = loop.time()
                    if (theirs := document.changed_elsewhere()) is not None:
                        self._ask_about(theirs)
                    self._look_at_photographs()
            except ChangedElsewhere:
                self._ask_about(document.changed_elsewhere() or "")
            except LightplanError as error:
                self.clients.say({"is": "fault", "text": str(error)})

    def _look_at_photographs(self) -> None:
        from lightplan.page.shoot_and_pick import look_at_folder

        if self.watched is not None:
            look_at_folder(self)

    def _tell_kept(self, document: Document) -> None:
        if document is self.document:
            self.tell_work()
            self.clients.say(self._kept(document))

    @staticmethod
    def _kept(document: Document) -> dict[str, Any]:
        from lightplan.tasks.layout import kept_facts

        return {"is": "kept", **kept_facts(document.loaded)}

    def _ask_about(self, theirs: str) -> None:
        """Ask once for each change of another program what shall become of it."""
        if theirs != self._asked_about:
            self._asked_about = theirs
            self.clients.say({"is": "elsewhere", "file": self.the_document().path.name})

    # -- what was seen ---------------------------------------------------------------------

    def _seen(self, kind: str, wanted: Wanted, made: Any) -> None:
        if kind == "fault":
            self.clients.say({"is": "fault", "text": made, "revision": wanted.revision})
        elif kind == "layout":
            self.layout = {"is": "layout", "revision": wanted.revision, **made}
            self.clients.say(self.layout)
        else:
            self.frame = packed(frame_head(wanted, made), made.jpeg, made.sees.tobytes())
            self.clients.show("frame", self.frame)
        if kind != "layout" and self._is_present(wanted.revision) and self._rest is None:
            self._rest_later()

    def _looked(self, job: Job, kind: str, content: Any) -> None:
        """Take what the closer look tells; what belongs to an older rig is let go."""
        if kind == "part" and self._is_present(content.revision):
            if hasattr(content, "jpeg"):
                self.close_look = close_document(
                    content,
                    self.keep(content.jpeg, "image/jpeg"),
                    self.keep(content.near, "image/jpeg"),
                )
                self.cures = {}
                self.clients.say(self.close_look)
            else:
                self.cures[content.number] = content.rig
                told = cure_document(content)
                self.close_look["findings"][content.number] |= told["finding"]
                self.clients.say(told)
        elif kind in ("refused", "broken"):
            self.clients.say({"is": "fault", "text": content})

    def _is_present(self, revision: int) -> bool:
        return self.document is not None and self.document.revision == revision

    def _worked(self, job: Job, kind: str, content: Any) -> None:
        from lightplan.page import stages

        stages.worked(self, job, kind, content)

    @property
    def hands(self) -> Jobs:
        """Who does long work."""
        assert self._hands is not None
        return self._hands

    @property
    def brush(self) -> Jobs:
        """Who paints small pictures, so that nobody waits for them."""
        assert self._brush is not None
        return self._brush

    # -- tabs ------------------------------------------------------------------------------

    async def welcome(self, client: Client) -> None:
        """Tell a tab that has come (or come back) everything there is."""
        from lightplan.page import stages

        self.clients.add(client)
        client.say(self._work())
        await self._can_see.wait()
        if self.document is not None:
            client.say(self._kept(self.document))
        if self.layout is not None:
            client.say(self.layout)
        if self.frame is not None:
            client.show("frame", self.frame)
        else:
            self._show()
        if self.close_look:
            client.say(self.close_look)
        for message in stages.standing(self):
            client.say(message)

    async def hear(self, client: Client, message: Mapping[str, Any]) -> None:
        """Do what a tab asks; what cannot be done is told to that tab alone."""
        from lightplan.page import stages

        do = message.get("do")
        way = stages.WAYS.get(do) if isinstance(do, str) else None
        try:
            if way is None:
                raise BadInput(
                    field="request",
                    wanted="one that the page knows",
                    got=str(do),
                    cure="load the page again",
                )
            await (self._can_see if do in stages.BY_HAND else self._can_work).wait()
            await way(self, client, message)
        except ChangedElsewhere as error:
            self._asked_about = ""
            self._ask_about((self.document and self.document.changed_elsewhere()) or str(error))
        except CAUGHT as error:
            told = str(as_told(error))
            client.say({"is": "refused", "text": told, "mark": message.get("mark")})
            if self.layout is not None:
                client.say(self.layout)

    # -- what was made ---------------------------------------------------------------------

    def keep(self, content: bytes | Path, kind: str) -> str:
        """Keep something that a tab may fetch; return its address."""
        mark = secrets.token_urlsafe(12)
        self._made[mark] = (content, kind)
        while len(self._made) > MOST_MADE:
            del self._made[next(iter(self._made))]
        return f"/made/{kind.partition('/')[0]}/{mark}"

    def remember(self, thing: Any) -> str:
        """Keep something that was dropped, in memory, for a later question; return its mark."""
        mark = secrets.token_urlsafe(12)
        self.dropped[mark] = thing
        while len(self.dropped) > MOST_DROPPED:
            del self.dropped[next(iter(self.dropped))]
        return mark

    async def made(self, kind: str, mark: str) -> tuple[bytes | Path, str] | None:
        """Return what was kept under a mark; paths come from us alone, never from a tab."""
        found = self._made.get(mark)
        return found if found is not None and found[1].startswith(f"{kind}/") else None

    async def take(self, file: Dropped, purpose: str) -> dict[str, Any]:
        """Take a file that was dropped on the page."""
        from lightplan.page import stages

        await self._can_work.wait()
        return await stages.dropped(self, file, purpose)
