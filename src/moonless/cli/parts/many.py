"""Options that take several values in a row, as ``--chart a.000 b.000`` or a shell's ``--chart charts/*.000``."""

from __future__ import annotations

import click


class ManyCommand(click.Command):
    """A command whose repeatable options also take all the values up to the next option.

    A word that ends in one of ``not_a_value`` is left to the arguments, wherever it stands: a recording is no chart.
    """

    not_a_value: tuple[str, ...] = (".mcap",)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Write ``--x a b`` as ``--x a --x b`` and go on."""
        many = {
            name
            for p in self.params
            if isinstance(p, click.Option) and p.multiple
            for name in (*p.opts, *p.secondary_opts)
        }
        out: list[str] = []
        current: str | None = None  # the option whose further values may follow
        is_first = False
        for position, word in enumerate(args):
            if word == "--":
                out += args[position:]
                break
            if word.startswith("-") and word != "-":
                current, is_first = (word, True) if word in many else (None, False)
                out.append(word)
            elif current is None:
                out.append(word)
            elif is_first:
                out.append(word)
                is_first = False
            elif word.lower().endswith(self.not_a_value):
                current = None
                out.append(word)
            else:
                out += [current, word]
        return super().parse_args(ctx, out)
