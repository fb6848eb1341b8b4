"""The page: photos, ranking, one question at a time with unsure and back, and the finding."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

# Before gradio is imported: nothing is reported to anyone.
os.environ.setdefault("GRADIO_ANALYTICS_ENABLED", "False")

import gradio as gr
from PIL import Image

from app.home import home
from app.key import load_key
from app.photos import evidence_of
from app.web.panels import STYLE, finding_panel, question_panel, ranking_panel
from app.words import month_name
from model.errors import SwardkeyError
from model.identify import Key
from model.interview import Interview
from model.photo import open_photo
from model.traits import UNSURE, answers_text

Session = dict[str, Any]
MONTHS = ["not told"] + [month_name(m) for m in range(1, 13)]
INTRO = (
    "# swardkey\nPhotos of one weed, then a few questions: the name, how sure it is, and why. "
    "Everything stays on this machine."
)


def new_session() -> Session:
    """What one visitor's page remembers: plain data, since it is copied."""
    return {"photos": None, "month": None, "answers": {}}


class Page:
    """The handlers of the page, plain functions over a session and the one key."""

    def __init__(self, key: Key) -> None:
        self.key = key

    def interview(self, session: Session) -> Interview:
        """The interview that a session describes."""
        return Interview(self.key, session["photos"], session["month"], None, session["answers"])

    def look(self, files: list[str] | None, session: Session) -> tuple[Any, ...]:
        """New photos: thumbnails, and the finding with them."""
        try:
            paths = [Path(file) for file in files or []]
            evidence = evidence_of(paths) if paths else None
            thumbnails = [Image.fromarray(open_photo(path).pixels) for path in paths]
        except SwardkeyError as error:
            # Uploads lie under names of their own; the person knows the last part only.
            text = str(error)
            for file in files or []:
                text = text.replace(file, Path(file).name)
            raise gr.Error(text, duration=None, print_exception=False) from None
        session = {**session, "photos": evidence}
        return session, thumbnails, *self.show(session)

    def set_month(self, name: str, session: Session) -> tuple[Any, ...]:
        """The month of the visit."""
        month = MONTHS.index(name) if name in MONTHS else 0
        session = {**session, "month": month or None}
        return session, *self.show(session)

    def answer(self, states: list[str], number: float | None, session: Session) -> tuple[Any, ...]:
        """The answer to the question that is on the page."""
        question = self.interview(session).question
        if question is None:
            return session, *self.show(session)
        given: object = states if question.character.kind == "choice" else number
        if given in ([], None):
            raise gr.Error("Choose an answer first, or press Unsure.", duration=6, print_exception=False)
        return self._step(session, question.character.id, given)

    def unsure(self, session: Session) -> tuple[Any, ...]:
        """Unsure: changes nothing but the next question."""
        question = self.interview(session).question
        return (
            (session, *self.show(session)) if question is None else self._step(session, question.character.id, UNSURE)
        )

    def _step(self, session: Session, character: str, given: object) -> tuple[Any, ...]:
        try:
            after = self.interview(session).answer(character, given)
        except SwardkeyError as error:
            raise gr.Error(str(error), duration=None, print_exception=False) from None
        session = {**session, "answers": after.answers}
        return session, *self.show(session)

    def back(self, session: Session) -> tuple[Any, ...]:
        """Take the latest answer back."""
        session = {**session, "answers": self.interview(session).back().answers}
        return session, *self.show(session)

    def start_again(self) -> tuple[Any, ...]:
        """An empty page for the next plant."""
        session = new_session()
        return session, None, [], MONTHS[0], *self.show(session)

    def show(self, session: Session) -> tuple[Any, ...]:
        """Finding, ranking, question, its two inputs, the buttons, and the answers so far."""
        interview = self.interview(session)
        finding = interview.finding
        question = finding.next_question
        character = question.character if question is not None else None
        choice = character is not None and character.kind == "choice"
        number = character is not None and not choice
        unit = "" if character is None else character.unit or "month, 1 to 12"
        choices = [(label, state) for state, label in character.states.items()] if character and choice else []
        return (
            finding_panel(finding, self.key, interview.answers),
            ranking_panel(finding),
            question_panel(character, len(interview.answers), finding),
            gr.CheckboxGroup(choices=choices, value=[], visible=choice),
            gr.Number(value=None, label=f"Your figure ({unit})", visible=number),
            gr.Button(interactive=character is not None),
            gr.Button(interactive=character is not None),
            gr.Button(interactive=bool(interview.answers)),
            answers_text(interview.answers),
        )


def build_page(key: Key) -> gr.Blocks:
    """The page as gradio blocks, not yet served."""
    page = Page(key)
    start = new_session()
    first = page.show(start)
    with gr.Blocks(title="swardkey", analytics_enabled=False, delete_cache=(3600, 86400)) as blocks:
        session = gr.State(start)
        gr.Markdown(INTRO)
        with gr.Row():
            with gr.Column(scale=1, min_width=300):
                files = gr.File(
                    label="Photos of one plant",
                    file_count="multiple",
                    file_types=["image", ".heic", ".heif"],
                    height=200,
                )
                thumbnails = gr.Gallery(
                    label="As the tool sees them", columns=3, height=240, object_fit="contain", interactive=False
                )
                month = gr.Dropdown(MONTHS, value=MONTHS[0], label="Month of the photo or visit")
            with gr.Column(scale=2, min_width=300):
                finding = gr.HTML(first[0], label="Finding")
                question = gr.HTML(first[2])
                states = gr.CheckboxGroup(
                    choices=first[3].choices,
                    label="What do you see? More than one if the plant shows more",
                )
                number = gr.Number(label="Your figure", visible=False)
                with gr.Row():
                    answer = gr.Button("Answer", variant="primary", min_width=90)
                    unsure = gr.Button("Unsure", min_width=90)
                    back = gr.Button("Back", interactive=False, min_width=90)
                ranking = gr.HTML(first[1])
                with gr.Accordion("Answers so far", open=False):
                    given = gr.Textbox(
                        first[8], label="As an answer file", lines=6, interactive=False, buttons=["copy"]
                    )
                again = gr.Button("Next plant: start again")
        shown = [finding, ranking, question, states, number, answer, unsure, back, given]
        quiet: dict[str, Any] = {"api_visibility": "private", "show_progress": "minimal"}
        files.change(page.look, [files, session], [session, thumbnails, *shown], **quiet)
        month.input(page.set_month, [month, session], [session, *shown], **quiet)
        answer.click(page.answer, [states, number, session], [session, *shown], **quiet)
        unsure.click(page.unsure, [session], [session, *shown], **quiet)
        back.click(page.back, [session], [session, *shown], **quiet)
        again.click(page.start_again, None, [session, files, thumbnails, month, *shown], **quiet)
    blocks.queue(max_size=16, default_concurrency_limit=1)
    return blocks


def theme() -> gr.themes.Base:
    """Fonts that every machine has, so that nothing is fetched; buttons that can be read in the sun."""
    plain = gr.themes.Base(
        primary_hue="lime", neutral_hue="stone", font=["system-ui", "sans-serif"], font_mono=["monospace"]
    )
    return plain.set(
        button_primary_background_fill="#33511c",
        button_primary_background_fill_hover="#263d15",
        button_primary_text_color="#ffffff",
    )


def serve_options() -> dict[str, Any]:
    """How the page is launched: loopback, nothing shared, nothing reported, no file given away."""
    return {
        "server_name": "127.0.0.1",
        "share": False,
        "max_file_size": "25mb",
        "allowed_paths": [],
        "show_error": False,
        "ssr_mode": False,
        "mcp_server": False,
        "strict_cors": True,
        "footer_links": [],
        "theme": theme(),
        "css_paths": STYLE,
    }


def serve_page(port: int, open_browser: bool = False) -> None:
    """Serve on loopback until stopped. Raises SwardkeyError when the port is taken."""
    uploads = home() / "uploads"
    uploads.mkdir(parents=True, exist_ok=True)
    # Before the page is built: its parts note where their files lie.
    os.environ["GRADIO_TEMP_DIR"] = str(uploads)
    blocks = build_page(load_key())
    started_in = Path.cwd()
    # gradio hands out files of the folder it is started in: start it in an empty one.
    with tempfile.TemporaryDirectory() as empty:
        os.chdir(empty)
        try:
            blocks.launch(server_port=port, inbrowser=open_browser, **serve_options())
        except OSError:
            raise SwardkeyError(f"port {port} is taken on this machine; try --port {port + 1}") from None
        finally:
            os.chdir(started_in)
