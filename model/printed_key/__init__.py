"""The printed key: two leads a couplet, for use without a computer.

printed = make_key(likelihoods, month=6)
"""

from model.printed_key.key import PrintedKey, make_key
from model.printed_key.lead import Couplet, Lead

__all__ = ["Couplet", "Lead", "PrintedKey", "make_key"]
