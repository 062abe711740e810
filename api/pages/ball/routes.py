"""The pages of this package, as the application takes them."""

from api.pages.ball.anew import EngravingAnew
from api.pages.ball.look import BallPages
from api.pages.ball.search import BallSearch

BALL_PAGES = (BallSearch, BallPages, EngravingAnew)
