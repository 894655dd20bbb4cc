"""The direction of imports: inventory above calc above intake above shop. The rules stand in .importlinter."""

import subprocess
import sys

from shop.bootstrap import ROOT


def lint(config: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as run; run()"]
        + ["--config", config, "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )


def test_every_floor_imports_only_from_those_below_it() -> None:
    done = lint(".importlinter")
    assert done.returncode == 0, done.stdout + done.stderr


def test_an_import_the_other_way_would_be_caught(tmp_path) -> None:
    upside_down = tmp_path / "upside-down.ini"
    upside_down.write_text(
        "[importlinter]\nroot_packages =\n    shop\n    intake\n\n"
        "[importlinter:contract:floors]\nname = upside down\ntype = layers\nlayers =\n    shop\n    intake\n"
    )
    done = lint(str(upside_down))
    assert done.returncode == 1, done.stdout + done.stderr
    assert "is not allowed to import shop" in done.stdout
