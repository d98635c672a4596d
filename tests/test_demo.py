"""The demo: what it draws and measures, without drawing or measuring."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from posture import demo
from posture.samples import SAMPLE_NAMES, sample_info


def test_demo_takes_the_samples_of_a_habit():
    habits = [n for n in SAMPLE_NAMES if sample_info(n).conditions["covered_eye"] == "none" and not sample_info(n).asked]
    assert list(demo.DEMO_NAMES) == habits


def test_demo_measures_each_sample_under_its_own_conditions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    seen: list[tuple[str, Any]] = []

    def drawn(folder: Path, names: tuple[str, ...], on_progress: Any) -> list[Path]:
        on_progress(names[0], 1.0)
        return [folder / f"{name}.mp4" for name in names]

    def measured(clip: Path, settings: Any, conditions: Any, label: str) -> Any:
        assert clip.stem == label
        assert settings.focal_px == 769.0
        assert settings.mirrored == "no"
        seen.append((label, conditions))
        return SimpleNamespace(summary=label, found=None, save=lambda folder, name: (folder / f"{name}.saved").write_text(name))

    monkeypatch.setattr(demo, "write_samples", drawn)
    monkeypatch.setattr(demo, "measure_clip", measured)
    monkeypatch.setattr(demo, "figures_svg", lambda summary, found: {"heads": f"<svg>{summary}</svg>"})
    monkeypatch.setattr(demo, "render_html", lambda summary, found, title_code: f"<html>{title_code}")
    monkeypatch.setattr(demo, "result_sentences", lambda summary: [f"Found in {summary}."])
    shares: list[float | None] = []
    result = demo.run_demo(tmp_path, shares.append)
    assert [name for name, _ in seen] == list(demo.DEMO_NAMES)
    for name, conditions in seen:
        assert conditions.model_dump(exclude_none=True) == dict(sample_info(name).conditions)
        assert (tmp_path / f"{name}.saved").read_text() == name
    assert result.sentences == ["Found in steady-left-tilt."]
    assert result.page == tmp_path / "steady-left-tilt.html"
    index = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert all(f'href="{name}.html"' in index for name in demo.DEMO_NAMES)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
