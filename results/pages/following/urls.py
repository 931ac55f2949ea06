"""Addresses of feeds, and of what one follows."""

from django.urls import path

from results.pages.following import feeds, follow

urlpatterns = [
    path("feeds/pools.atom", feeds.everywhere, name="feed"),
    path("feeds/line-pair.atom", feeds.of_line_pair, name="feed-line-pair"),
    path("feeds/pools/<int:pk>.atom", feeds.of_pool, name="feed-pool"),
    path("feeds/connections/<int:pk>.atom", feeds.of_join, name="feed-join"),
    path("feeds/contributors/<int:pk>.atom", feeds.of_tester, name="feed-tester"),
    path("feeds/rounds/<int:pk>.atom", feeds.of_round, name="feed-round"),
    path("following/", follow.following, name="following"),
    path("following/end/<uuid:key>/", follow.end, name="end-mail"),
    path("follow/<str:subject>/<int:number>/", follow.one, name="follow"),
]
