"""Addresses of micrographs."""

from django.urls import path

from teardown.imaging import views

urlpatterns = [
    path("micrographs/", views.micrographs, name="micrographs"),
    path("micrographs/add/", views.add, name="add_micrographs"),
    path("micrographs/again/", views.again_all, name="micrographs_again"),
    path("micrographs/again/<int:pk>/", views.remeasured, name="micrographs_remeasured"),
    path("micrographs/again/<int:pk>/judge/", views.remeasured_judge, name="micrographs_remeasured_judge"),
    path("micrographs/deliveries/<int:pk>/", views.delivery, name="micrograph_delivery"),
    path("micrographs/<int:pk>/", views.micrograph, name="micrograph"),
    path("micrographs/<int:pk>/measured/", views.measured, name="micrograph_measured"),
    path("micrographs/<int:pk>/picture.jpg", views.picture, name="micrograph_picture"),
    path("micrographs/<int:pk>/thumbnail.jpg", views.thumbnail, name="micrograph_thumbnail"),
    path("micrographs/<int:pk>/classes.png", views.overlay, name="micrograph_overlay"),
    path(
        "micrographs/<int:pk>/tiles/<int:level>/<int:column>/<int:row>.jpg",
        views.tile,
        name="micrograph_tile",
    ),
    path(
        "micrographs/<int:pk>/classes/<int:run>/<str:style>/<int:level>/<int:column>/<int:row>.png",
        views.class_tile,
        name="micrograph_class_tile",
    ),
    path("micrographs/<int:pk>/compare/", views.compare, name="micrograph_compare"),
    path(
        "micrographs/<int:pk>/changes/<int:run>/<int:after>/<int:level>/<int:column>/<int:row>.png",
        views.change_tile,
        name="micrograph_change_tile",
    ),
    path("micrographs/<int:pk>/levels/", views.levels, name="micrograph_levels"),
    path("micrographs/<int:pk>/levels/tried/", views.levels_tried, name="micrograph_levels_tried"),
    path("micrographs/<int:pk>/strokes/", views.strokes, name="micrograph_strokes"),
    path("micrographs/<int:pk>/strokes/back/", views.strokes_back, name="micrograph_strokes_back"),
    path("micrographs/<int:pk>/strokes/learned/", views.strokes_learned, name="micrograph_strokes_learned"),
    path("micrographs/<int:pk>/strokes/train/", views.strokes_train, name="micrograph_strokes_train"),
    path("micrographs/<int:pk>/strokes/measure/", views.strokes_measure, name="micrograph_strokes_measure"),
    path("micrographs/<int:pk>/scale/", views.scale, name="micrograph_scale"),
    path("micrographs/<int:pk>/bar/", views.bar, name="micrograph_bar"),
    path("micrographs/session/", views.session_of_listed, name="micrographs_session"),
    path("micrographs/<int:pk>/session/", views.session_of_one, name="micrograph_session"),
    path("micrographs/<int:pk>/pages/", views.pages, name="micrograph_pages"),
    path("micrographs/<int:pk>/region/", views.region, name="micrograph_region"),
    path("micrographs/<int:pk>/review/", views.judge, name="micrograph_review"),
    path("micrographs/<int:pk>/coverage/", views.coverage, name="micrograph_coverage"),
    path("micrographs/<int:pk>/again/", views.again, name="micrograph_again"),
    path("micrographs/<int:pk>/count/<str:kind>/", views.count, name="micrograph_count"),
    path("micrograph-sessions/", views.sessions, name="imaging_sessions"),
    path("micrograph-sessions/<int:pk>/", views.session, name="imaging_session"),
    path(
        "micrograph-sessions/<int:pk>/reference/", views.session_reference, name="imaging_session_reference"
    ),
    path("micrographs/<int:pk>/grey/", views.grey, name="micrograph_grey"),
    path("micrographs/<int:pk>/tie/", views.tie_to, name="micrograph_tie"),
]
