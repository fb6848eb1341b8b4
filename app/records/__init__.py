"""Records of the work: clients, sites, visits, what was found, planned and done, in one SQLite file.

with open_records() as records:
    client = records.add_client(Client(name="..."))
    site = records.add_site(Site(client=client.id, address="...", state="NSW"))
    visit = records.add_visit(Visit(site=site.id, day=date.today(), who="..."))
    treatment = records.add_treatment(replace(records.new_treatment(visit.id), products=(Product(...),)))
    records.sign("treatment", treatment.id, "...")

Open them anew for each piece of work; every trouble is a RecordsError in one sentence.
"""

from __future__ import annotations

from app.records.backup import BackedUp, back_up
from app.records.check import Checked, check_records
from app.records.entries import (
    Client,
    Current,
    Draft,
    FollowUp,
    GroupUse,
    Hit,
    PastVisit,
    Product,
    Reading,
    Signed,
    Site,
    Treatment,
    Visit,
    VisitRecord,
)
from app.records.errors import RecordsError
from app.records.fields import Kind
from app.records.findings import KeptFinding, KeptPhoto, KeptPlan
from app.records.law import Missing, asked_in, field_names, keep_until, key_of, missing_fields, prompts, write_up_by
from app.records.own import OwnProduct, Profile, as_product
from app.records.record_book import Records, open_records
from app.records.restore import Restore, plan_restore, restore
from app.records.signing import Waiting
from app.records.switch import finish_restore

__all__ = ["BackedUp", "Checked", "Client", "Current", "Draft", "FollowUp", "GroupUse", "Hit", "KeptFinding"]
__all__ += ["KeptPhoto", "KeptPlan", "Kind", "Missing", "PastVisit", "Product", "Reading", "Records", "RecordsError"]
__all__ += ["Restore", "Signed", "Site", "Treatment", "Visit", "VisitRecord", "Waiting", "back_up", "check_records"]
__all__ += ["finish_restore", "keep_until", "missing_fields", "open_records", "plan_restore", "prompts", "restore"]
__all__ += ["OwnProduct", "Profile", "as_product", "asked_in", "field_names", "key_of", "write_up_by"]
