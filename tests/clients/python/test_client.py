"""The service seen from Python: python test_client.py ADDRESS, with the stubs on the path.

Expectations are the contract's own words (proto/deepbend/v1); where something else is the source,
it stands beside the check.
"""

import csv
import io
import os
import subprocess
import sys
import unittest
from pathlib import Path

import grpc
import numpy as np
from google.protobuf.timestamp_pb2 import Timestamp
from google.rpc import error_details_pb2
from grpc_health.v1 import health_pb2, health_pb2_grpc
from grpc_reflection.v1alpha.proto_reflection_descriptor_database import (
    ProtoReflectionDescriptorDatabase,
)
from grpc_status import rpc_status

from deepbend.v1 import fault_pb2
from deepbend.v1 import gear_pb2 as gear
from deepbend.v1 import inventory_pb2 as items
from deepbend.v1 import inventory_service_pb2 as inventory
from deepbend.v1 import inventory_service_pb2_grpc, matching_service_pb2_grpc, trip_service_pb2_grpc
from deepbend.v1 import judgement_pb2 as judgement
from deepbend.v1 import matching_service_pb2 as matching
from deepbend.v1 import trip_pb2 as trips
from deepbend.v1 import trip_service_pb2 as planning
from deepbend.v1 import water_pb2 as water

HERE = Path(__file__).parent
PROJECT = HERE.parents[2]
DEMO = PROJECT / "crates" / "cli" / "demo"
SERVICES = {"InventoryService", "MatchingService", "MechanicsService", "SyncService", "TripService"}
FILES = {
    "boats": inventory.IMPORT_FILE_KIND_BOATS,
    "devices": inventory.IMPORT_FILE_KIND_DEVICES,
    "line_stock": inventory.IMPORT_FILE_KIND_LINE_STOCK,
    "rods": inventory.IMPORT_FILE_KIND_RODS,
    "reels": inventory.IMPORT_FILE_KIND_REELS,
    "lures": inventory.IMPORT_FILE_KIND_LURES,
}
OUTFIT = gear.Outfit(
    rod={
        "handle": "HANDLE_CASTING",
        "length_m": 2.18,
        "action": "ACTION_FAST",
        "lure_rating_min_g": 10,
        "lure_rating_max_g": 35,
    },
    line={"material": "LINE_MATERIAL_BRAID", "test_kgf": 13},
    leader={"material": "LEADER_MATERIAL_STEEL_WIRE", "test_kgf": 13},
)
LURE = gear.Lure(lure_class="LURE_CLASS_CRANKBAIT", rigged_mass_g=24)
WATER = water.Water(species="pike", wind_speed_m_s=9, wind_direction="WIND_DIRECTION_INTO")


def rows(name):
    """The rows of a file of the demo, by column."""
    with open(DEMO / f"{name}.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


class Client(unittest.TestCase):
    """Channel and stubs; the demo's gear is imported once."""

    address = ""

    @classmethod
    def setUpClass(cls):
        cls.channel = grpc.insecure_channel(cls.address)
        cls.matching = matching_service_pb2_grpc.MatchingServiceStub(cls.channel)
        cls.inventory = inventory_service_pb2_grpc.InventoryServiceStub(cls.channel)
        cls.trips = trip_service_pb2_grpc.TripServiceStub(cls.channel)
        cls.imported = cls.inventory.ImportItems(
            inventory.ImportItemsRequest(
                request_id="6f1c7c1e-2f0d-4c59-9d5e-0a4f5a1c3b11",
                files=[
                    inventory.ImportFile(
                        kind=kind, csv_text=(DEMO / f"{name}.csv").read_text(encoding="utf-8")
                    )
                    for name, kind in FILES.items()
                ],
                claim=items.Claim(
                    observed_time=Timestamp(seconds=1_947_171_600),  # 2031-09-14T17:00:00Z
                    actor="guide",
                    certainty=items.CERTAINTY_SEEN,
                ),
            )
        )

    @classmethod
    def tearDownClass(cls):
        cls.channel.close()

    def refused(self, call, code, reason):
        """The details of the error with which the call must fail, by type."""
        with self.assertRaises(grpc.RpcError) as caught:
            call()
        self.assertEqual(caught.exception.code(), code, caught.exception.details())
        status = rpc_status.from_call(caught.exception)
        self.assertIsNotNone(status, "the error has no google.rpc.Status")
        self.assertEqual(status.message, caught.exception.details())
        kinds = {"info": error_details_pb2.ErrorInfo, "request": error_details_pb2.BadRequest}
        found = {}
        for detail in status.details:
            for name, kind in kinds.items():
                if detail.Is(kind.DESCRIPTOR):
                    found[name] = kind()
                    detail.Unpack(found[name])
        self.assertIn("info", found, "the error has no google.rpc.ErrorInfo")
        self.assertEqual((found["info"].domain, found["info"].reason), ("deepbend.v1", reason))
        return found


class Matching(Client):
    def test_judges_described_gear_and_accounts_for_every_billionth(self):
        answer = self.matching.Judge(
            matching.JudgeRequest(
                outfit=OUTFIT, lure=LURE, water=WATER, request_label="from Python"
            )
        )
        self.assertEqual(answer.request_label, "from Python")
        told = answer.judgement
        self.assertIn("VERDICT_", judgement.Verdict.Name(told.verdict))
        self.assertNotEqual(told.verdict, judgement.VERDICT_UNSPECIFIED)
        self.assertTrue(0 <= told.score_low <= told.score <= told.score_high <= 1, told.summary)
        billionths = told.score_without_limits * 1e9
        self.assertAlmostEqual(billionths, round(billionths), places=5)
        lost = sum(factor.loss_nano for factor in told.factors)
        self.assertEqual(lost, 1_000_000_000 - round(billionths))
        self.assertAlmostEqual(sum(factor.weight for factor in told.factors), 1, places=9)
        self.assertIn(told.limiting_factor, {factor.kind for factor in told.factors})
        self.assertTrue(all(factor.text for factor in told.factors))
        self.assertEqual(len(told.model.hash), 16)

    def test_says_what_was_assumed(self):
        outfit = gear.Outfit(rod={"lure_rating_max_g": 30})
        told = self.matching.Judge(matching.JudgeRequest(outfit=outfit, lure=LURE)).judgement
        assumed = {assumption.field for assumption in told.assumptions}
        self.assertIn("rod.action", assumed)
        self.assertNotIn("lure.rigged_mass_g", assumed)

    def test_names_every_fault_of_nonsense(self):
        request = matching.JudgeRequest(
            outfit=gear.Outfit(
                rod={"lure_rating_min_g": 35, "lure_rating_max_g": 10, "length_m": float("nan")},
                line={"test_kgf": -3},
                drag_kgf=float("inf"),
            ),
            lure=gear.Lure(lure_class=999, rigged_mass_g=1e9),
            water=water.Water(toothy_probability=1.5),
            request_label="x" * 201,
        )
        told = self.refused(
            lambda: self.matching.Judge(request),
            grpc.StatusCode.INVALID_ARGUMENT,
            "INVALID_REQUEST",
        )
        expected = {
            ("outfit.rod.lure_rating_min_g", "SWAPPED"),
            ("outfit.rod.length_m", "NOT_FINITE"),
            ("outfit.line.test_kgf", "TOO_SMALL"),
            ("outfit.drag_kgf", "NOT_FINITE"),
            ("lure.lure_class", "UNKNOWN_VALUE"),
            ("lure.rigged_mass_g", "TOO_LARGE"),
            ("water.toothy_probability", "TOO_LARGE"),
            ("request_label", "TOO_LONG"),
        }
        found = {(fault.field, fault.reason) for fault in told["request"].field_violations}
        self.assertEqual(found, expected)
        self.assertTrue(all(fault.description for fault in told["request"].field_violations))
        self.assertEqual(told["info"].metadata["fault_count"], str(len(expected)))
        self.assertIn(told["info"].metadata["first_field"], {field for field, _ in expected})

    def test_an_empty_request_is_refused(self):
        told = self.refused(
            lambda: self.matching.Judge(matching.JudgeRequest()),
            grpc.StatusCode.INVALID_ARGUMENT,
            "INVALID_REQUEST",
        )
        found = {(fault.field, fault.reason) for fault in told["request"].field_violations}
        self.assertEqual(found, {("outfit", "MISSING"), ("lure", "MISSING")})

    def test_batch_keeps_the_order(self):
        masses = np.linspace(1, 60, 5_000)
        broken = 1_234

        def messages():
            for start in range(0, len(masses), 1_000):
                yield matching.JudgeBatchRequest(
                    rows=[
                        matching.JudgeBatchRow(
                            id=str(n),
                            outfit=OUTFIT,
                            lure=gear.Lure(
                                lure_class=LURE.lure_class,
                                rigged_mass_g=-1 if n == broken else masses[n],
                            ),
                            water=WATER,
                        )
                        for n in range(start, start + 1_000)
                    ]
                )

        answers = [row for answer in self.matching.JudgeBatch(messages()) for row in answer.results]
        self.assertEqual([row.id for row in answers], [str(n) for n in range(len(masses))])
        scores = np.fromiter((row.score for row in answers), float, len(answers))
        verdicts = np.fromiter((row.verdict for row in answers), np.int8, len(answers))
        self.assertEqual([n for n, row in enumerate(answers) if row.faults], [broken])
        unjudged = np.flatnonzero(verdicts == judgement.VERDICT_UNSPECIFIED)
        self.assertEqual(unjudged.tolist(), [broken])
        fault = answers[broken].faults[0]
        self.assertEqual(fault.code, fault_pb2.FAULT_CODE_TOO_SMALL)
        self.assertTrue(fault.field.endswith("lure.rigged_mass_g"), fault.field)
        # Common practice, no source: a rod for 10 to 35 g throws 1 g badly and 22 g well.
        self.assertLess(scores[0], scores[np.searchsorted(masses, 22)])
        for n in (0, 1_777, 4_999):
            lure = gear.Lure(lure_class=LURE.lure_class, rigged_mass_g=masses[n])
            one = matching.JudgeRequest(outfit=OUTFIT, lure=lure, water=WATER)
            self.assertEqual(self.matching.Judge(one).judgement.score, scores[n])

    def test_a_deadline_ends_a_batch_and_nothing_else(self):
        row = matching.JudgeBatchRow(outfit=OUTFIT, lure=LURE, water=WATER)
        message = matching.JudgeBatchRequest(rows=[row] * 4_096)
        with self.assertRaises(grpc.RpcError) as caught:
            list(self.matching.JudgeBatch(iter([message] * 8), timeout=0.001))
        self.assertEqual(caught.exception.code(), grpc.StatusCode.DEADLINE_EXCEEDED)
        self.matching.Judge(matching.JudgeRequest(outfit=OUTFIT, lure=LURE))

    def test_the_ten_lines_of_the_readme(self):
        text = (HERE / "ten_lines.py").read_text(encoding="utf-8")
        self.assertEqual(text.count("127.0.0.1:50551"), 1)
        ran = subprocess.run(
            [sys.executable, "-c", text.replace("127.0.0.1:50551", self.address)],
            env={**os.environ, "PYTHONPATH": str(PROJECT / "proto")},
            capture_output=True,
            text=True,
            check=False,
        )
        self.assertEqual(ran.returncode, 0, ran.stderr)
        verdict, score, reason = ran.stdout.splitlines()
        self.assertIn(verdict, judgement.Verdict.keys())
        self.assertTrue(0 <= float(score) <= 1)
        self.assertTrue(reason)


class Inventory(Client):
    def test_imports_every_row_once(self):
        self.assertEqual(self.imported.outcome, inventory.IMPORT_OUTCOME_IMPORTED)
        self.assertEqual(list(self.imported.faults), [])
        counts = {count.kind: count.item_count for count in self.imported.counts}
        self.assertEqual(counts[items.ITEM_KIND_ROD], len(rows("rods")))
        self.assertEqual(counts[items.ITEM_KIND_LURE], len(rows("lures")))

    def test_lists_page_by_page(self):
        ids, token, pages = [], "", 0
        while True:
            page = self.inventory.ListItems(
                inventory.ListItemsRequest(
                    page_size=7, page_token=token, filter={"kinds": [items.ITEM_KIND_ROD]}
                )
            )
            ids += [item.id for item in page.items]
            pages, token = pages + 1, page.next_page_token
            self.assertEqual(page.total_size, len(rows("rods")))
            if not token:
                break
        self.assertEqual(ids, sorted(row["rod_id"] for row in rows("rods")))
        self.assertEqual(pages, -(-len(ids) // 7))

    def test_refuses_a_page_token_of_its_own_making(self):
        told = self.refused(
            lambda: self.inventory.ListItems(inventory.ListItemsRequest(page_token="made up")),
            grpc.StatusCode.INVALID_ARGUMENT,
            "PAGE_TOKEN_INVALID",
        )
        self.assertEqual(told["info"].metadata["field"], "page_token")

    def test_gets_an_item_with_its_etag(self):
        whole = self.inventory.GetItem(inventory.GetItemRequest(id="R14")).item
        self.assertRegex(whole.etag, '^".+"$')  # a strong tag, RFC 9110 section 8.8.3
        masked = self.inventory.GetItem(
            inventory.GetItemRequest(id="R14", read_mask={"paths": ["etag", "rod"]})
        ).item
        self.assertEqual(masked, items.Item(etag=whole.etag, rod=whole.rod))
        other = self.inventory.GetItem(inventory.GetItemRequest(id="R15")).item
        self.assertNotEqual(other.etag, whole.etag)

    def test_says_which_item_is_not_there(self):
        told = self.refused(
            lambda: self.inventory.GetItem(inventory.GetItemRequest(id="R99")),
            grpc.StatusCode.NOT_FOUND,
            "ITEM_NOT_FOUND",
        )
        self.assertEqual(told["info"].metadata["id"], "R99")

    def test_judges_gear_by_its_ids(self):
        answer = self.matching.Judge(
            matching.JudgeRequest(rod_id="R14", reel_id="E08", lure_id="L17", water=WATER)
        )
        self.assertNotEqual(answer.judgement.verdict, judgement.VERDICT_UNSPECIFIED)


def trip(name):
    """A trip of the demo's files, everybody fishing at once."""
    skills = {"novice": "NOVICE", "intermediate": "INTERMEDIATE", "advanced": "EXPERT"}
    day = next(row for row in rows("trips") if row["trip_id"] == name)
    anglers = [
        trips.Angler(id=f"A{n}", skill=f"SKILL_{skills[word]}")
        for n, word in enumerate(day["angler_skill"].split(";"), 1)
    ]
    segments = [
        trips.Segment(
            id=row["segment"],
            start=row["start"],
            end=row["end"],
            water={
                "species": row["species"],
                "platform": f"PLATFORM_{row['platform'].upper()}",
                "cover": f"COVER_{row['cover'].upper()}",
                "depth_m": float(row["depth_m"]),
                "toothy_probability": float(row["toothy_probability"]),
                "wind_speed_m_s": float(row["wind_speed_m_s"]),
                "water_temperature_c": float(day["water_temp_C"]),
            },
            wind_shares=[
                {"direction": f"WIND_DIRECTION_{way.upper()}", "share": share}
                for way in ("into", "across", "down")
                if (share := float(row[f"wind_{way}_share"])) > 0
            ],
            angler_ids=[angler.id for angler in anglers],
        )
        for row in rows("segments")
        if row["trip_id"] == name
    ]
    needs = [
        trips.Need(
            segment_id=row["segment"],
            lure_id=row["lure_id"],
            importance=int(row["importance_1_3"]),
            copy_count=int(row["copies_at_once"]),
            min_verdict=f"VERDICT_{row['min_verdict'].upper()}",
        )
        for row in rows("trip_needs")
        if row["trip_id"] == name
    ]
    return trips.Trip(
        id=name,
        date=day["date"],
        boat_id=day["boat"],
        anglers=anglers,
        segments=segments,
        needs=needs,
        rod_limit=int(day["rod_limit"]),
    )


class Planning(Client):
    def test_plans_the_first_trip_of_the_demo(self):
        asked = trip("T1")
        plan = self.trips.PlanTrip(
            planning.PlanTripRequest(trip=asked, pool=[{"place_id": p} for p in ("B1", "B2", "S0")])
        ).plan
        self.assertIn(plan.status, (trips.PLAN_STATUS_OPTIMAL, trips.PLAN_STATUS_FEASIBLE))
        self.assertTrue(0 < len(plan.outfits) <= asked.rod_limit)
        self.assertEqual(plan.counts.outfit_count, len(plan.outfits))
        for ids in ([o.rod_id for o in plan.outfits], [o.reel_id for o in plan.outfits]):
            self.assertEqual(len(ids), len(set(ids)), "one reel a rod and one rod a reel")
        self.assertEqual(plan.counts.need_count, len(asked.needs))
        self.assertEqual(plan.counts.covered_count + len(plan.uncovered), len(asked.needs))
        self.assertTrue(all(need.text for need in plan.uncovered))
        taken = {outfit.id for outfit in plan.outfits}
        for assignment in plan.assignments:
            self.assertIn(assignment.outfit_id, taken)
            self.assertNotIn(
                assignment.verdict, (judgement.VERDICT_UNSPECIFIED, judgement.VERDICT_UNSAFE)
            )
        for segment in asked.segments:
            starts = [start for start in plan.starts if start.segment_id == segment.id]
            self.assertEqual({s.angler_id for s in starts}, set(segment.angler_ids))
            self.assertEqual(len({s.outfit_id for s in starts}), len(asked.anglers))
        self.assertTrue(plan.rig_cards)


class Around(Client):
    def test_reflection_tells_the_same_contract_as_the_stubs(self):
        database = ProtoReflectionDescriptorDatabase(self.channel)
        listed = {name for name in database.get_services() if name.startswith("deepbend.")}
        self.assertEqual(listed, {f"deepbend.v1.{name}" for name in SERVICES})
        for module in (matching, inventory, planning):
            told = database.FindFileByName(module.DESCRIPTOR.name)
            for service in told.service:
                own = module.DESCRIPTOR.services_by_name[service.name]
                self.assertEqual([m.name for m in service.method], [m.name for m in own.methods])

    def test_health_says_serving(self):
        health = health_pb2_grpc.HealthStub(self.channel)
        for name in ("", *(f"deepbend.v1.{service}" for service in SERVICES)):
            answer = health.Check(health_pb2.HealthCheckRequest(service=name))
            self.assertEqual(answer.status, health_pb2.HealthCheckResponse.SERVING, name)


def main():
    if len(sys.argv) != 2:
        sys.exit("usage: test_client.py ADDRESS")
    Client.address = sys.argv[1]
    told = io.StringIO()
    suite = unittest.defaultTestLoader.loadTestsFromModule(sys.modules[__name__])
    result = unittest.TextTestRunner(stream=told).run(suite)
    failed = len(result.failures) + len(result.errors)
    if failed:
        print(told.getvalue())
    print(f"{result.testsRun - failed} passed, {failed} failed")
    sys.exit(1 if failed or not result.testsRun else 0)


if __name__ == "__main__":
    main()
