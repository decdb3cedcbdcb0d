"""What cannot be opened as job records is said in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from analytics.warehouse_file import WarehouseError, published_version


def test_a_pointer_that_does_not_let_itself_be_read_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "CURRENT").write_text("1")

    def refuse(*_: object, **__: object) -> str:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_text", refuse)
    with pytest.raises(WarehouseError, match=r"'.*CURRENT' cannot be read: Permission denied"):
        published_version(tmp_path)
