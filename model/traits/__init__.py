"""The key: what answers say about the species, and what to ask next."""

from model.traits.answers import UNSURE, Answers, answers_text, check_answer, check_answers, read_answers
from model.traits.likelihood import Likelihoods, Table
from model.traits.observer import Observer, load_observer
from model.traits.question import Question, expected_bits, next_question
from model.traits.relative import relative_probability, telling

__all__ = [
    "UNSURE",
    "Answers",
    "Likelihoods",
    "Observer",
    "Question",
    "Table",
    "answers_text",
    "check_answer",
    "check_answers",
    "expected_bits",
    "load_observer",
    "next_question",
    "read_answers",
    "relative_probability",
    "telling",
]
