"""The key: the evidence of answers for each species, and what to ask next."""

from model.flora.character import UNSURE, Visible
from model.traits.answers import Answers, answers_text, check_answer, check_answers, read_answers
from model.traits.likelihood import Likelihoods, Table
from model.traits.observer import Age, Observer, load_observer
from model.traits.question import Question, expected_bits, next_question
from model.traits.relative import expected_evidence, relative_probability
from model.traits.visible import age, check_visible, in_sight, out_of_sight, visible_log_likelihood

__all__ = [
    "UNSURE", "Age", "Answers", "Likelihoods", "Observer", "Question", "Table", "Visible", "age", "answers_text",
    "check_answer", "check_answers", "check_visible", "expected_bits", "expected_evidence", "in_sight", "load_observer",
    "next_question", "out_of_sight", "read_answers", "relative_probability", "visible_log_likelihood",
]  # fmt: skip
