"""A sentence short enough to be taken in beside steering: what matters most of it, in at most `MOST_WORDS` words.

Twelve words take four to five seconds at the pace they are spoken in.  What is left out is not lost: `Candidate.more`
is shown with the sentence and not spoken.
"""

from __future__ import annotations

from collections.abc import Sequence

# Own figure.
MOST_WORDS = 12
# Of a name so much is spoken; a ship's may have twenty letters and as many words as fit into them.
NAME_WORDS = 3


def n_words(sentence: str) -> int:
    """Return how many words are spoken."""
    return len(sentence.split())


def brief(first: str, parts: Sequence[tuple[int, str]], most: int = MOST_WORDS) -> str:
    """Return ``first`` with as many of the parts as fit, in their order, commas between, and a stop.

    ``parts``: (rank, words): of what does not fit what ranks highest is left out first; empty words are none.
    """
    kept = [(rank, words) for rank, words in parts if words]
    while kept and n_words(first) + sum(n_words(words) for _, words in kept) > most:
        kept.remove(max(kept, key=lambda part: part[0]))
    return ", ".join([first, *(words for _, words in kept)]) + "."


def brief_name(name: str) -> str:
    """Return a name as it is spoken."""
    return " ".join(name.split()[:NAME_WORDS])
