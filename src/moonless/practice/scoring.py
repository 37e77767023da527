"""What an answer is worth against what a careful reader could know, and what it says of the skill.

Points.  A right answer earns 1, a wrong one 0, and leaving it open earns 1 less the chance that it could be known: who
says "it cannot be told" of a float that shows one turn in ten is nine parts right, and of a ship in plain sight none.

Evidence.  A right answer counts for the skill as one trial less the share that luck has in it; a wrong one as one trial
against.  Leaving it open counts for the skill where it could not be known and against it where it could.  So nobody is
blamed for what did not show, and nobody gains by guessing.
"""

from __future__ import annotations

from moonless.practice.types import Exercise, ExerciseAnswer, Marked


def mark(exercise: Exercise, answer: ExerciseAnswer) -> Marked:
    """Return what an answer is worth.  Raises InputError for one of another form."""
    key, known = exercise.key, exercise.knowable
    if answer.is_withheld:
        if key.right.is_withheld:
            return Marked(1.0, 1.0, 0.0, True, known)
        return Marked(1.0 - known, 1.0 - known, known, True, known)
    worth = key.worth(answer)
    return Marked(worth, worth * (1.0 - key.by_luck), 1.0 - worth, False, known)
