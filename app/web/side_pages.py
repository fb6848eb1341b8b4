"""The places beside the path: flora, records, own details, learning, printed key. Each is a page with an address."""

from __future__ import annotations

from types import ModuleType

from app.web import flora_page as flora
from app.web import key_page as printed
from app.web import learning_page as learning
from app.web import own_page as own
from app.web import records_page as records
from app.web.context import Context
from app.web.faults import errors_as_notices
from app.web.frame import Address, FormError, fault, head
from app.web.message import Message
from model.errors import SwardkeyError

SIDE_PAGES: dict[str, ModuleType] = {"Flora": flora, "Records": records, "Own": own, "Learn": learning, "Key": printed}


class SidePage:
    """A place: its address in, its page out. It has no state of its own."""

    def __init__(self, context: Context, module: ModuleType) -> None:
        self.context = context
        self.module = module

    def open(self, address: Address) -> str:
        """The page of an address."""
        return self._show(address, [])

    def press(self, message: Message) -> str:
        """The page after a button was pressed or files were chosen."""
        self.context.wait_until_ready()
        notices: list[str] = []
        address = message.address
        with errors_as_notices(notices):
            if message.files:
                if not hasattr(self.module, "take_files"):
                    raise FormError("This page takes no files.")
                address, notices = self.module.take_files(self.context, message.files)
            else:
                given = (message.do, message.fields, message.which)
                address, notices = self.module.act(self.context, address, *given)
        return self._show(address, notices)

    def _show(self, address: Address, notices: list[str]) -> str:
        self.context.wait_until_ready()
        try:
            below = self.module.body(self.context, address)
        except SwardkeyError as error:
            notices, address = [*notices, fault(str(error))], {}
            below = self.module.body(self.context, address)
        return head(self.module.ADDRESS, None, notices, address) + str(below)
