"""Mutants of a file: one line changed each. What is never run, or run only to describe, is left as it is."""

import ast
import random
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cache
from pathlib import Path
from typing import Any

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

from .operators import operators


@dataclass(frozen=True)
class Mutant:
    """One change of one file (its path from the project's root), as the occurrence of an operator."""

    path: str
    line: int
    operator: str
    occurrence: int

    def code(self, source: str) -> str:
        """The file's text with the change."""
        changed = mutate_code(source, operators()[self.operator], self.occurrence)
        assert changed is not None
        return changed


@dataclass(frozen=True)
class Change:
    """Lines before and after."""

    before: str
    after: str


def mutants_of(root: Path, path: str) -> list[Mutant]:
    """All mutants of a file that are Python, in the order of its lines."""
    source = (root / path).read_text()
    nodes = list(ast_nodes(get_ast(source)))
    out = []
    for name, operator in operators().items():
        occurrence = -1
        for node in nodes:
            for start, _ in operator.mutation_positions(node):
                occurrence += 1
                if not _is_only_descriptive(node):
                    out.append(Mutant(path, start[0], name, occurrence))
    return sorted(out, key=lambda mutant: (mutant.line, mutant.operator, mutant.occurrence))


def sample_of(mutants: Iterable[Mutant], number: int, seed: int) -> list[Mutant]:
    """So many mutants drawn without regard to the file; the same ones for the same seed and the same code."""
    mutants = list(mutants)
    chosen = mutants if number >= len(mutants) else random.Random(seed).sample(mutants, number)
    return sorted(chosen, key=lambda mutant: (mutant.path, mutant.line, mutant.operator, mutant.occurrence))


def change_between(source: str, code: str) -> Change:
    """The lines in which two versions of a file differ; a change may take lines away."""
    before, after = source.splitlines(), code.splitlines()
    blocks = SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    changed = [block for block in blocks if block[0] != "equal"]
    return Change(
        " ".join(line.strip() for _, start, end, _, _ in changed for line in before[start:end]),
        " ".join(line.strip() for _, _, _, start, end in changed for line in after[start:end]),
    )


def is_another_program(source: str, code: str) -> bool:
    """Whether a changed text is Python and does anything else: a type that is said otherwise changes nothing."""
    try:
        return _without_types(source) != _without_types(code)
    except (SyntaxError, ValueError):
        return False


def _without_types(code: str) -> str:
    tree = ast.parse(code)
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign):
            node.annotation = ast.Constant(None)
        elif isinstance(node, ast.FunctionDef):
            node.returns = None
    return ast.dump(tree)


@cache
def _described_keywords() -> frozenset[str]:
    return frozenset({"strict", "frozen", "slots", "kw_only", "keepdims", "copy"})


def _is_only_descriptive(node: Any) -> bool:
    """Whether a node belongs to a type, a decorator, a signature's marks, `__all__`, or a keyword that only checks."""
    parent = node.parent
    if node.type == "operator" and parent is not None and parent.type in {"parameters", "dictorsetmaker", "lambdef"}:
        return True
    while parent is not None:
        if parent.type == "decorator":
            return True
        if parent.type == "annassign" and node is parent.children[1]:
            return True
        if parent.type == "param" and parent.annotation is not None and _is_under(node, parent.annotation):
            return True
        if parent.type == "funcdef" and parent.annotation is not None and _is_under(node, parent.annotation):
            return True
        if parent.type == "argument" and parent.children[0].get_code().strip() in _described_keywords():
            return True
        if parent.type == "classdef" and "Protocol" in (parent.get_super_arglist() or _Nothing()).get_code():
            return True
        if parent.type == "expr_stmt" and parent.get_code().lstrip().startswith("__all__"):
            return True
        node, parent = parent, parent.parent
    return False


class _Nothing:
    def get_code(self) -> str:
        return ""


def _is_under(node: Any, top: Any) -> bool:
    while node is not None:
        if node is top:
            return True
        node = node.parent
    return False
