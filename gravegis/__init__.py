"""gravegis: which gravestones the sprinklers wet, where damage gathers, and which crew walks where today.

The same from Python as from the command line::

    from pathlib import Path
    from gravegis import pipeline, store

    site = store.load(Path("demo_site"))
    outcome = pipeline.run(site, ["wetting"], typed={"wetting": {"near_m": "6 ft"}})
    outcome.site["head_stones"]

Nothing heavy is loaded by ``import gravegis``.
"""

from gravegis.contract import Analysis, Assumption, Job, Result
from gravegis.errors import GravegisError
from gravegis.site import Raster, Site, SiteInfo

__all__ = ["Analysis", "Assumption", "GravegisError", "Job", "Raster", "Result", "Site", "SiteInfo"]
