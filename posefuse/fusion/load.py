"""Filter settings from files."""

from dataclasses import replace
from pathlib import Path

from posefuse.errors import InputError
from posefuse.files.toml_file import in_file, load_toml
from posefuse.fusion.schema import FilterTable
from posefuse.fusion.settings import FilterSettings

__all__ = ["load_settings", "settings_from_table"]


def load_settings(path: Path | str) -> FilterSettings:
    """The filter settings of a file.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    path = Path(path)
    table = load_toml(path, FilterTable)
    with in_file(path):
        settings = settings_from_table(table)
    return settings if table.name else replace(settings, name=path.stem)


def settings_from_table(table: FilterTable) -> FilterSettings:
    """The filter settings that a table describes.

    Raises
    ------
    InputError
        The process noise or the noise model is missing or lacks a key, or the settings do not fit
        together.
    """
    if table.process is None:
        raise InputError("[process] is missing: state how far one odometry step may be off")
    if table.noise is None:
        raise InputError("[noise] is missing: state how far one measurement may be off")
    gate = table.gate_probability
    return FilterSettings(
        name=table.name or "filter",
        measurement=table.measurement,
        process=table.process.process(),
        noise=table.noise.noise(table.measurement),
        gate_probability=gate if gate > 0.0 else None,
        late_frames=table.late_frames,
        history_s=table.history_s,
        drop_older_than_s=table.drop_older_than_s,
        ambiguous=table.ambiguous,
        ambiguity_ratio=table.ambiguity_ratio,
        start_from=table.start_from,
        build_errors=table.build_errors,
        believed=None if table.as_built is None else table.as_built.spreads,
    )
