"""Files made to do harm: what they try is refused or harmless, and nothing is fetched from anywhere."""

from __future__ import annotations

import csv
import http.server
import json
import socket
import sqlite3
import subprocess
import sys
import threading
import time
import zipfile
from contextlib import closing
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely

from gravegis import cli, store
from gravegis.errors import GravegisError, LayerError
from gravegis.layers.bring import bring_in
from gravegis.layers.read import archive, read_file
from gravegis.layers.read.rows import library_path
from gravegis.outputs.exchange import export_layer
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

BOMB = """<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "ha ha ha ha ha ha ha ha ha ha ha ha ha">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">
<!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;&c;&c;"><!ENTITY e "&d;&d;&d;&d;&d;&d;&d;&d;&d;&d;">
<!ENTITY f "&e;&e;&e;&e;&e;&e;&e;&e;&e;&e;"><!ENTITY g "&f;&f;&f;&f;&f;&f;&f;&f;&f;&f;">]>"""
OUTSIDE = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
BODIES = {
    "kml": "<kml><Document><Placemark><name>&{0};</name></Placemark></Document></kml>",
    "gpx": '<gpx><wpt lat="1" lon="1"><name>&{0};</name></wpt></gpx>',
    "osm": '<osm><node id="1" lat="1" lon="1"><tag k="name" v="&{0};"/></node></osm>',
}


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


@pytest.mark.parametrize("kind", BODIES)
@pytest.mark.parametrize(
    ("head", "entity"), [(BOMB, "g"), (OUTSIDE, "e"), ("<!DOCTYPE x SYSTEM 'http://127.0.0.1:9/x.dtd'>", "")]
)
def test_xml_with_entities_of_its_own_is_refused_at_once(tmp_path: Path, kind: str, head: str, entity: str) -> None:
    path = tmp_path / f"a.{kind}"
    path.write_text(head + BODIES[kind].replace("&{0};", f"&{entity};" if entity else "x"))
    began = time.monotonic()
    with pytest.raises(LayerError, match="document type or entities of its own"):
        read_file(path)
    assert time.monotonic() - began < 2


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_an_xml_bomb_in_another_encoding_is_refused_too(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "a.kml"
    text = BOMB.replace('version="1.0"', f'version="1.0" encoding="{encoding.removesuffix("-sig")}"')
    path.write_bytes((text + BODIES["kml"].replace("{0}", "g")).encode(encoding))
    with pytest.raises(LayerError, match="document type or entities of its own"):
        read_file(path)


def test_xml_bombs_inside_archives_are_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.kmz", "w") as packed:
        packed.writestr("doc.kml", BOMB + BODIES["kml"].replace("{0}", "g"))
    every_kind.workbook(tmp_path / "sound.xlsx")
    with zipfile.ZipFile(tmp_path / "sound.xlsx") as sound, zipfile.ZipFile(tmp_path / "a.xlsx", "w") as packed:
        for name in sound.namelist():
            data = sound.read(name)
            packed.writestr(name, BOMB.encode() + b"<worksheet>&g;</worksheet>" if "sheet1" in name else data)
    for name in ("a.kmz", "a.xlsx"):
        with pytest.raises(LayerError, match="document type or entities of its own"):
            read_file(tmp_path / name)


def test_xml_nested_without_end_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.kml").write_text("<kml>" + "<Folder>" * 100_000 + "</Folder>" * 100_000 + "</kml>")
    with pytest.raises(LayerError, match="one in the other"):
        read_file(tmp_path / "a.kml")


@pytest.mark.parametrize("ending", [".zip", ".kmz", ".xlsx"])
def test_an_archive_that_grows_a_thousandfold_is_refused_before_it_is_unpacked(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"bomb{ending}"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/[Content_Types].xml" if ending == ".xlsx" else "doc.kml", b"\x00" * 200_000_000)
    assert path.stat().st_size < 1_000_000
    with pytest.raises(LayerError, match=r"unpacked it would be 200 MB"):
        read_file(path)


@pytest.mark.parametrize(
    "name", ["../../evil.csv", "/etc/evil.csv", "a/../../evil.csv", "..\\evil.csv", "C:\\evil.csv"]
)
def test_names_that_lead_out_of_an_archive_are_refused_and_nothing_is_written(tmp_path: Path, name: str) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as packed:
        packed.writestr(name, every_kind.CSV)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(LayerError, match="lead out of its folder"):
        read_file(tmp_path / "a.zip")
    assert sorted(tmp_path.rglob("*")) == before
    assert not (tmp_path.parent / "evil.csv").exists()


def test_an_archive_of_countless_files_and_one_in_another_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive, "MOST_MEMBERS", 50)
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as packed:
        for n in range(51):
            packed.writestr(f"{n}.csv", "a\n1\n")
    with pytest.raises(LayerError, match="holds 51 files"):
        read_file(tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as packed:
        packed.write(tmp_path / "a.zip", "a.zip")
    with pytest.raises(LayerError, match="0 files that can be read"):
        read_file(tmp_path / "b.zip")


def test_a_locked_archive_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as packed:
        packed.writestr("a.csv", every_kind.CSV)
    data = bytearray((tmp_path / "a.zip").read_bytes())
    data[6] |= 1
    at = data.find(b"PK\x01\x02")
    data[at + 8] |= 1
    (tmp_path / "a.zip").write_bytes(bytes(data))
    with pytest.raises(LayerError, match="password"):
        read_file(tmp_path / "a.zip")


FORMULA = "=cmd|' /C calc'!A0"


def test_formulas_in_cells_and_in_names_of_columns_are_disarmed_on_the_way_out(tmp_path: Path) -> None:
    names = ["stone_id", "lat", "lon", "find_me", "=HYPERLINK(1)"]
    with (tmp_path / "a.csv").open("w", newline="") as out:
        csv.writer(out).writerows([names, ["S1", every_kind.LAT, every_kind.LON, FORMULA, "@SUM(1)"]])
    site = bring_in(new(), "stones", tmp_path / "a.csv").site
    assert site["stones"]["find_me"].tolist() == [FORMULA]
    export_layer(site, "stones", tmp_path / "out.csv", with_names=True)
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as back:
        rows = list(csv.reader(back))
    assert not [cell for row in rows for cell in row if cell[:1] in "=@+" and cell]
    assert f"'{FORMULA}" in rows[1]


ODD_NAMES = [
    "<script>alert(1)</script>",
    "two\nlines",
    "right\u202eto left",
    "'; DROP TABLE stones; --",
    'a"b',
    "𝔘𝔫𝔦",
    "\u200b",
]


def test_hostile_names_come_through_a_site_file_and_stand_in_no_message_raw(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    frame = pd.DataFrame({name: [f"{name} {n}" for n in range(3)] for name in ODD_NAMES})
    frame.insert(0, "stone_id", [f"S{n}{name}" for n, name in enumerate(ODD_NAMES[:3])])
    frame["lat"], frame["lon"] = [every_kind.LAT] * 3, [every_kind.LON, every_kind.LON + 1e-5, every_kind.LON + 2e-5]
    frame.to_csv(tmp_path / "a.csv", index=False)
    brought = bring_in(new(), "stones", tmp_path / "a.csv")
    store.save(brought.site, tmp_path / "site")
    again = store.load(tmp_path / "site")
    assert len(again["stones"]) == 3
    assert "stones" in again
    for words in (*brought.notes, *brought.warnings, *brought.assumed):
        assert "\u202e" not in words
    with pytest.raises(SystemExit):
        cli.main(["look", "stones", str(tmp_path / "a.csv")])
    assert "\u202e" not in capsys.readouterr().out


def test_layer_names_made_for_sql_are_only_names(tmp_path: Path) -> None:
    name = 'x"; DROP TABLE gpkg_contents; --'
    pyogrio.write_dataframe(every_kind.points(), tmp_path / "a.gpkg", layer=name)
    pyogrio.write_dataframe(every_kind.points(2), tmp_path / "a.gpkg", layer="other", append=True)
    before = (tmp_path / "a.gpkg").read_bytes()
    assert len(read_file(tmp_path / "a.gpkg", layer=name).frame) == 8
    assert (tmp_path / "a.gpkg").read_bytes() == before


def test_values_of_ten_megabytes_and_a_hundred_thousand_columns_end_soon(tmp_path: Path) -> None:
    long = "x" * 10_000_000
    rows = [{"type": "Feature", "properties": {"stone_id": "1", "year": long, "height_m": long},
             "geometry": {"type": "Point", "coordinates": [every_kind.LON, every_kind.LAT]}}]  # fmt: skip
    (tmp_path / "a.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    began = time.monotonic()
    with pytest.raises(GravegisError) as caught:
        bring_in(new(), "stones", tmp_path / "a.geojson")
    assert len(str(caught.value)) < 50_000
    (tmp_path / "a.csv").write_text(f"stone_id,lat,lon,note\n1,{every_kind.LAT},{every_kind.LON},{long}\n")
    with pytest.raises(LayerError, match="too long"):
        read_file(tmp_path / "a.csv")
    (tmp_path / "b.csv").write_text(",".join(f"c{n}" for n in range(100_000)) + "\n" + "1," * 99_999 + "1\n")
    with pytest.raises(GravegisError, match="columns"):
        read_file(tmp_path / "b.csv")
    assert time.monotonic() - began < 20


def test_a_view_without_end_in_a_geopackage_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from gravegis.layers.read import whole

    monkeypatch.setattr(whole, "_MOST_COUNTING_S", 0.5)
    pyogrio.write_dataframe(every_kind.points(), tmp_path / "a.gpkg", layer="t")
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as connection:
        endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid FROM n"
        connection.execute(f"CREATE VIEW endless AS {endless}")
        connection.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES ('endless', 'attributes', 'endless')"
        )
        connection.commit()
    began = time.monotonic()
    with pytest.raises(LayerError, match="cannot be read"):
        read_file(tmp_path / "a.gpkg", layer="endless")
    assert time.monotonic() - began < 10


@pytest.fixture
def listener() -> Iterator[tuple[str, list[str]]]:
    """A web server on this computer that notes whoever asks it for something."""
    asked = list[str]()

    class Noting(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_POST = do_GET  # noqa: N815 - names the server calls

        def log_message(self, *_: Any) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Noting)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}", asked
    server.shutdown()
    server.server_close()
    thread.join()


def wanting(url: str) -> dict[str, str]:
    """Files that name a place on the network, in the ways of the general library and of the kinds themselves."""
    source = f"<SrcDataSource>/vsicurl/{url}/x.geojson</SrcDataSource>"
    vrt = f'<OGRVRTDataSource><OGRVRTLayer name="x">{source}</OGRVRTLayer></OGRVRTDataSource>'
    wfs = f"<OGRWFSDataSource><URL>{url}/wfs</URL></OGRWFSDataSource>"
    link = f"<NetworkLink><Link><href>{url}/x.kml</href></Link></NetworkLink>"
    overlay = f"<GroundOverlay><Icon><href>{url}/x.png</href></Icon></GroundOverlay>"
    style = f"<styleUrl>{url}/style.kml#a</styleUrl>"
    mark = f"<Placemark><name>S1</name>{style}<Point><coordinates>1,1</coordinates></Point></Placemark>"
    member = {"type": "link", "properties": {"href": f"{url}/crs", "type": "ogcwkt"}}
    point: Any = {
        "type": "Feature",
        "properties": {"a": f"{url}/x"},
        "geometry": {"type": "Point", "coordinates": [1, 1]},
    }
    return {
        "a.vrt": vrt, "vrt.kml": vrt, "vrt.osm": vrt, "vrt.geojson": vrt, "vrt.csv": vrt, "vrt.bin": vrt,
        "wfs.xml": wfs, "wfs.kml": wfs, "wfs.osm": f"<!-- {vrt} -->{wfs}",
        "comment.osm": f"<!-- {vrt} --><osm><node id='1' lat='1' lon='1'><tag k='a' v='{url}'/></node></osm>",
        "link.kml": f"<kml><Document>{link}{overlay}{mark}</Document></kml>",
        "link.gpx": f'<gpx><wpt lat="1" lon="1"><name>a</name><link href="{url}/x"/></wpt></gpx>',
        "crs.geojson": json.dumps({"type": "FeatureCollection", "features": [point], "crs": member}),
        "crs2.geojson": json.dumps({"type": "FeatureCollection", "features": [{**point, "crs": member}]}),
        "crs3.geojson": json.dumps({"type": "FeatureCollection", "features": [
            {**point, "geometry": {**point["geometry"], "crs": {"type": "url", "properties": {"url": f"{url}/c"}}}}]}),
        "stream.geojson": json.dumps({"type": "gdal_streamed_alg", "command_line": f"gdal vector read {url}/x"}),
        "stream2.geojson": f'{{"type": "gdal_streamed_alg", "command_line": "gdal vector read {url}/x", '
                           f'"type": "FeatureCollection", "features": []}}',
        "url.csv": f"stone_id,lat,lon\n{url}/x,1,1\n",
        "url.shp": f"/vsicurl/{url}/x.shp", "url.gpkg": f"{url}/x.gpkg", "url.fgb": f"/vsicurl/{url}/x.fgb",
    }  # fmt: skip


def test_nothing_is_fetched_from_a_network_by_any_reader(tmp_path: Path, listener: tuple[str, list[str]]) -> None:
    url, asked = listener
    for name, text in wanting(url).items():
        (tmp_path / name).write_text(text)
        for options in ({}, {"layer": "points"}):
            try:
                read_file(tmp_path / name, **options)
            except GravegisError as error:
                assert str(error)  # noqa: PT017 - either outcome is right
    assert asked == []
    # the listener does hear who asks, also through the library
    with pytest.raises(pyogrio.errors.DataSourceError):
        pyogrio.read_dataframe(f"/vsicurl/{url}/x.geojson")
    assert asked


NO_SOCKETS = """
import socket, sys
from pathlib import Path
class Blocked(socket.socket):
    def connect(self, *a): raise SystemExit("a reader wanted the network")
    connect_ex = connect
socket.socket = Blocked
socket.create_connection = socket.getaddrinfo = lambda *a, **k: sys.exit("a reader wanted the network")
from gravegis.errors import GravegisError
from gravegis.layers.bring import bring_in
from gravegis.site import Site, SiteInfo
for path in sorted(Path(sys.argv[1]).iterdir()):
    for layer in ("stones", "photos"):
        try: bring_in(Site(SiteInfo("x", "")), layer, path)
        except GravegisError: pass
print("done")
"""


def test_every_kind_comes_in_with_sockets_blocked(tmp_path: Path) -> None:
    every_kind.make_all(tmp_path / "f")
    for name, text in wanting("http://127.0.0.1:9").items():
        (tmp_path / "f" / name).write_text(text)
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", NO_SOCKETS, str(tmp_path / "f")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip().endswith("done"), done.stderr[-2000:]
    assert isinstance(socket.socket, type)


@pytest.mark.parametrize("name", ["a!b.gpkg", "zip:x.gpkg", "a#b?c.gpkg", "https:evil.gpkg", "ü ñ.gpkg", "-x.gpkg"])
def test_odd_names_of_files_are_files_on_this_disk(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    pyogrio.write_dataframe(every_kind.points(), tmp_path / "plain.gpkg")
    (tmp_path / name).write_bytes((tmp_path / "plain.gpkg").read_bytes())
    monkeypatch.chdir(tmp_path)
    from pathlib import Path as AnyPath

    if "!" in name:
        with pytest.raises(LayerError, match="plain name"):
            read_file(AnyPath(name))
    else:
        assert len(read_file(AnyPath(name)).frame) == 8
        assert library_path(AnyPath(name)).startswith(str(tmp_path))


def test_a_geometry_of_countless_points_ends_soon(tmp_path: Path) -> None:
    circle = shapely.Point(every_kind.EAST, every_kind.NORTH).buffer(5, quad_segs=50_000)
    frame = gpd.GeoDataFrame({"plot_id": ["a"]}, geometry=[circle], crs=every_kind.CRS)
    pyogrio.write_dataframe(frame, tmp_path / "a.gpkg")
    began = time.monotonic()
    assert len(bring_in(new(), "plots", tmp_path / "a.gpkg").site["plots"]) == 1
    assert time.monotonic() - began < 20
