"""`schema`: the JSON Schema of what commands answer and of the files a person writes."""

import json
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import TypeAdapter

from wattproof.errors import SettingsError
from wattproof.tasks.schema_words import with_words


def schema(name: str | None = None) -> str:
    """Give the JSON Schema of an answer or of a file, or the list of their names.

    Parameters
    ----------
    name : str or None
        One of read, measure, plausible, plan, run, event, bench-check, bench-floor, calibrate, sessions, model,
        predict, judge, compare, report, picture, overlay, pack, verify, amplifier, bench, reading, words,
        export, export-index, export-capture, site, site-index; all names are listed when left out.

    Raises
    ------
    SettingsError
        There is no schema of that name.
    """
    schemas = _schemas()
    if name is None:
        return "\n".join(schemas)
    if name not in schemas:
        raise SettingsError(
            f'There is no schema "{name}".', why=f"there are {', '.join(schemas)}", hint="Run: wattproof schema measure"
        )
    # a name, not an address: nothing is to be fetched to check an object
    known = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": f"urn:wattproof:schema:{name}:1"}
    return json.dumps({**known, **with_words(schemas[name]())}, indent=2, ensure_ascii=False)


def _schemas() -> Mapping[str, Callable[[], dict[str, Any]]]:
    from wattproof.amplifier import Amplifier
    from wattproof.bench import Bench, ReadingRow
    from wattproof.plan import RunSheet
    from wattproof.publish import Remarks
    from wattproof.run import Event
    from wattproof.tasks.calibrating import Calibrated
    from wattproof.tasks.checking import BenchChecked
    from wattproof.tasks.comparing import Compared
    from wattproof.tasks.export_forms import ExportedCapture, ExportIndex
    from wattproof.tasks.exporting import Exported
    from wattproof.tasks.floored import Floor
    from wattproof.tasks.judging import JudgedSession
    from wattproof.tasks.measured import Measured
    from wattproof.tasks.modelling import Modelled, Predicted
    from wattproof.tasks.overlaid import Overlaid
    from wattproof.tasks.packing import Packed
    from wattproof.tasks.picturing import Pictured
    from wattproof.tasks.plausibility import FoundPlausible
    from wattproof.tasks.proving import Verified
    from wattproof.tasks.publishing import Reported
    from wattproof.tasks.ran import Ran
    from wattproof.tasks.reading import FileSummaries
    from wattproof.tasks.sessions import SessionsListed
    from wattproof.tasks.siting import SiteIndex, SiteMade

    return {
        "read": FileSummaries.model_json_schema,
        "measure": Measured.model_json_schema,
        "plausible": FoundPlausible.model_json_schema,
        "plan": RunSheet.model_json_schema,
        "run": Ran.model_json_schema,
        "event": TypeAdapter(Event).json_schema,
        "bench-check": BenchChecked.model_json_schema,
        "bench-floor": Floor.model_json_schema,
        "calibrate": Calibrated.model_json_schema,
        "sessions": SessionsListed.model_json_schema,
        "model": Modelled.model_json_schema,
        "predict": Predicted.model_json_schema,
        "judge": JudgedSession.model_json_schema,
        "compare": Compared.model_json_schema,
        "report": Reported.model_json_schema,
        "picture": Pictured.model_json_schema,
        "overlay": Overlaid.model_json_schema,
        "pack": Packed.model_json_schema,
        "verify": Verified.model_json_schema,
        "amplifier": Amplifier.model_json_schema,
        "bench": Bench.model_json_schema,
        "reading": ReadingRow.model_json_schema,
        "words": Remarks.model_json_schema,
        "export": Exported.model_json_schema,
        "export-index": ExportIndex.model_json_schema,
        "export-capture": ExportedCapture.model_json_schema,
        "site": SiteMade.model_json_schema,
        "site-index": SiteIndex.model_json_schema,
    }
