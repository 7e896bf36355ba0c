"""What is still to be asked: everything that the logbook misses or doubts, in order of harm."""

from registry.questions.asking import Asked, answered_by, ask_all, counts_by_course
from registry.questions.question import Kind, Question, Scope

__all__ = ["Asked", "Kind", "Question", "Scope", "answered_by", "ask_all", "counts_by_course"]
