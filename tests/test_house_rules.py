"""House rules a machine can hold: locks, licences, addresses, sources, words."""

from __future__ import annotations

import re
import subprocess
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).parents[1]
LOCKS = sorted((ROOT / "requirements").glob("*.txt"))
REFERENCE_KEY = re.compile(r"@\w+\{([^,\s]+),")
COPYLEFT = re.compile(r"\b(A?GPL)\b|Affero|GNU General Public", re.IGNORECASE)


def tracked() -> list[Path]:
    """Files git tracks; outside a checkout every source file of the tree."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    names = [name for name in listed.stdout.split("\0") if name]
    return [ROOT / name for name in names if (ROOT / name).is_file()]


def text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def test_every_locked_package_has_hashes_and_no_address() -> None:
    assert len(LOCKS) == 8
    for lock in LOCKS:
        text = text_of(lock)
        assert "://" not in text and "--index" not in text and "--find-links" not in text
        blocks = re.split(r"\n(?=[a-z0-9])", text.strip())
        for block in blocks:
            assert "==" in block and "--hash=sha256:" in block, f"{lock.name}: {block[:60]}"


def test_the_package_lock_names_no_address_and_keeps_integrity() -> None:
    text = text_of(ROOT / "package-lock.json")
    assert '"resolved"' not in text
    assert text.count('"integrity"') >= 4


def test_nothing_copyleft_is_needed_at_run_time() -> None:
    names = re.findall(r"^([a-z0-9_.-]+)==", text_of(ROOT / "requirements/runtime.txt"), re.M)
    assert len(names) > 15
    for name in names:
        meta = metadata.metadata(name)
        said = [meta.get("License-Expression") or ""]
        said += [entry for entry in meta.get_all("Classifier") or [] if "License" in entry]
        if not any(said):
            said = [(meta.get("License") or "").splitlines()[0] if meta.get("License") else ""]
        words = " ".join(said).replace("LGPL", "").replace("Lesser General Public", "")
        assert words.strip(), f"{name} states no licence"
        assert not COPYLEFT.search(words), f"{name}: {words}"


def test_every_source_listed_is_used_and_every_source_used_is_listed() -> None:
    listed = set(REFERENCE_KEY.findall(text_of(ROOT / "references.bib")))
    assert listed
    places = [*(ROOT / "src").rglob("*.py"), *(ROOT / "tests").rglob("*.py")]
    places += [*(ROOT / "docs").rglob("*.md")]
    text = "\n".join(text_of(path) for path in places if "_build" not in path.parts)
    unused = sorted(key for key in listed if not re.search(rf"\b{re.escape(key)}\b", text))
    assert not unused, f"listed but never used: {unused}"
    said = "\n".join(text_of(path) for path in places if "tests" not in path.parts)
    cited = set(re.findall(r"\[([a-z]+(?:19|20)\d{2}[a-z]?)\]", said))
    cited |= set(re.findall(r"[\"']([a-z]{4,}(?:19|20)\d{2}[a-z]?)[\"']", said))
    cited |= set(re.findall(r"`([a-z]{3,}(?:19|20)\d{2}[a-z]?)`", said))
    assert not sorted(cited - listed), f"used but not listed: {sorted(cited - listed)}"


def test_no_registry_address_and_no_machine_path_is_tracked() -> None:
    hosts = ("py" + "pi.org", "python" + "hosted", "npm" + "js.", "deb" + "ian.org")
    rooted = re.compile(r"(?<![\w.~-])/(wo" + r"rk|fa" + r"rm|ro" + r"ot)/")
    found = []
    for path in tracked():
        text = text_of(path)
        if any(host in text for host in hosts) or (path.suffix != ".svg" and rooted.search(text)):
            found.append(str(path.relative_to(ROOT)))
    assert not found


def test_no_tracked_file_is_large() -> None:
    large = [path.name for path in tracked() if path.stat().st_size > 2_000_000]
    assert not large


def test_the_report_template_asks_for_no_package_from_outside() -> None:
    templates = list((ROOT / "src/quirewell/report/templates").glob("*.typ"))
    assert templates
    for template in templates:
        assert "@preview" not in text_of(template)


def test_the_readme_names_both_commands() -> None:
    readme = text_of(ROOT / "README.md")
    assert "make demo" in readme and "make test" in readme
