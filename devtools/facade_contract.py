"""An import-linter contract: a room is imported through its facade, not module by module."""

from __future__ import annotations

from grimp import ImportGraph
from importlinter import Contract, ContractCheck, fields, output


class FacadeContract(Contract):
    """Other rooms import a room's public names from the package.

    Options:
        root: the package that holds the rooms.
        rooms_without_facade: rooms whose modules are their public surface.
        open_modules: further modules that other rooms may import.
    """

    type_name = "facades"

    root = fields.StringField()
    rooms_without_facade = fields.ListField(subfield=fields.StringField())
    open_modules = fields.ListField(subfield=fields.StringField())

    def check(self, graph: ImportGraph, verbose: bool) -> ContractCheck:
        """Find the imports that go past a facade."""
        past = [
            (importer, module)
            for module in sorted(graph.modules)
            if self._is_private(module)
            for importer in sorted(graph.find_modules_that_directly_import(module))
            if importer.startswith(f"{self.root}.") and _room(importer) != _room(module)
        ]
        return ContractCheck(kept=not past, metadata={"past": past})

    def _is_private(self, module: str) -> bool:
        return (
            module.startswith(f"{self.root}.")
            and module != _room(module)
            and _room(module) not in self.rooms_without_facade  # type: ignore[operator]
            and module not in self.open_modules  # type: ignore[operator]
        )

    def render_broken_contract(self, check: ContractCheck) -> None:
        """Print each import, and the way out."""
        for importer, module in check.metadata["past"]:
            output.print_error(
                f"{importer} imports {module}: import the name from {_room(module)}, and add it to "
                "that room's __init__.py if it is missing there"
            )


def _room(module: str) -> str:
    return ".".join(module.split(".")[:2])
