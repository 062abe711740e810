"""The controllers of the pages of containment."""

from api.pages.containment.case_acts import CaseActs
from api.pages.containment.case_answers_page import CaseAnswers
from api.pages.containment.case_page import CasePages
from api.pages.containment.consignees_page import ConsigneePages
from api.pages.containment.suspect_page import SuspectPages

CONTAINMENT_PAGES = (SuspectPages, CasePages, CaseActs, CaseAnswers, ConsigneePages)
"""Every page of containment."""
