"""The tables that notebooks take: what each column is, in which unit, and its rows for a person."""

from teardown.api.dossier.tables import TABLES, Column, Table, rows_of

__all__ = ["TABLES", "Column", "Table", "rows_of"]
