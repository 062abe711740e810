"""The pages of this package, as the application takes them."""

from api.pages.limits.change_pages import Changes
from api.pages.limits.chart_pages import Charts
from api.pages.limits.gauge_pages import GaugePages
from api.pages.limits.population_pages import PopulationPages
from api.pages.limits.rulebook_pages import RulebookPages

LIMITS_PAGES = (PopulationPages, Charts, Changes, RulebookPages, GaugePages)
