"""A function of the pure engineering that the product does not call is checked for nobody: there is none.

Names are resolved through imports and from definition to definition: a function that only another unused function calls
is unused too. Tests do not count as callers.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[3]
ROOMS = ("accounts", "fleet", "scheduling")
PURE = "fleet.engineering"


@dataclass
class Module:
    """One file: what is defined at its top, where its names come from, and what runs when it is imported."""

    name: str
    tree: ast.Module
    is_package: bool
    definitions: dict[str, ast.stmt] = field(default_factory=dict)
    imports: dict[str, str] = field(default_factory=dict)


def read_modules(root: Path) -> dict[str, Module]:
    modules = {}
    for room in ROOMS:
        for path in sorted((root / room).rglob("*.py")):
            parts = list(path.relative_to(root).with_suffix("").parts)
            is_package = parts[-1] == "__init__"
            name = ".".join(parts[:-1] if is_package else parts)
            modules[name] = module = Module(name, ast.parse(path.read_text()), is_package)
            for node in ast.walk(module.tree):
                module.imports |= dict(imported(node, module))
            for statement in module.tree.body:
                module.definitions |= dict.fromkeys(defined(statement), statement)
    return modules


def imported(node: ast.AST, module: Module) -> Iterator[tuple[str, str]]:
    if isinstance(node, ast.Import):
        for alias in node.names:
            yield (alias.asname, alias.name) if alias.asname else (alias.name.split(".")[0],) * 2
    elif isinstance(node, ast.ImportFrom):
        assert node.level == 0, "imports are absolute"
        for alias in node.names:
            yield alias.asname or alias.name, f"{node.module}.{alias.name}"


def defined(statement: ast.stmt) -> Iterator[str]:
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        yield statement.name
    elif isinstance(statement, ast.Assign | ast.AnnAssign):
        for target in statement.targets if isinstance(statement, ast.Assign) else [statement.target]:
            yield from (node.id for node in ast.walk(target) if isinstance(node, ast.Name))


def chains(node: ast.AST) -> Iterator[list[str]]:
    """The names in a piece of code, with the attributes asked of them: `a.b.c` as [a, b, c]."""
    for part in ast.walk(node):
        chain: list[str] = []
        while isinstance(part, ast.Attribute):
            chain.append(part.attr)
            part = part.value
        if isinstance(part, ast.Name):
            yield [part.id, *reversed(chain)]


def is_file(modules: dict[str, Module], address: str) -> bool:
    """Whether an address is a file, and not a name that its package has brought in under the same name."""
    package, _, name = address.rpartition(".")
    return address in modules and not (package in modules and name in modules[package].imports)


def resolve(modules: dict[str, Module], module: str, chain: list[str]) -> str | None:
    """The definition that a chain of names means in a module, or None for what is not defined at the top of a file."""
    for _ in range(20):
        head, *rest = chain
        here = modules[module]
        if head in here.definitions:
            return f"{module}.{head}"
        address = here.imports.get(head, "")
        while is_file(modules, address) and rest:
            address = f"{address}.{rest.pop(0)}"
        module, _, name = address.rpartition(".")
        if is_file(modules, address) or module not in modules:
            return None
        chain = [name, *rest]
    return None


def unused(modules: dict[str, Module]) -> set[str]:
    """Functions of the pure rooms that nothing outside of them leads to."""
    nodes = {
        f"{module.name}.{name}": (module.name, code)
        for module in modules.values()
        for name, code in module.definitions.items()
    }
    waiting = {
        target
        for module in modules.values()
        for code in (
            [s for s in module.tree.body if isinstance(s, ast.Expr)] if module.name.startswith(PURE) else [module.tree]
        )
        for chain in chains(code)
        if (target := resolve(modules, module.name, chain))
    }
    used: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name in used:
            continue
        used.add(name)
        where, code = nodes[name]
        waiting |= {target for chain in chains(code) if (target := resolve(modules, where, chain))}
    functions = {
        name for name, (module, code) in nodes.items() if module.startswith(PURE) and isinstance(code, ast.FunctionDef)
    }
    return functions - used


def test_the_product_calls_every_function() -> None:
    modules = read_modules(ROOT)
    assert unused(modules) == set()


def test_what_only_an_unused_function_calls_is_found(tmp_path: Path) -> None:
    pure, service = tmp_path / "fleet" / "engineering", tmp_path / "fleet" / "services"
    for folder in (pure, service):
        folder.mkdir(parents=True)
    (pure / "__init__.py").write_text("from fleet.engineering.flow import shown\n")
    (pure / "flow.py").write_text(
        "def called():\n    return inner()\n\ndef inner():\n    pass\n\ndef shown():\n    pass\n\n"
        "def unused():\n    return deeper()\n\ndef deeper():\n    pass\n"
    )
    (service / "units.py").write_text(
        "from fleet import engineering\nfrom fleet.engineering import flow as f\n\nf.called()\nengineering.shown()\n"
    )
    (tmp_path / "fleet" / "__init__.py").write_text("")
    assert unused(read_modules(tmp_path)) == {"fleet.engineering.flow.unused", "fleet.engineering.flow.deeper"}
