"""Addresses of recipes, builds, tests, imports, materials, chambers, protocols, studies."""

from django.urls import path

from teardown.cells.views import codes, imports, recipes, testing

urlpatterns = [
    path("recipes/", recipes.recipes, name="recipes"),
    path("new-recipe/", recipes.new_recipe, name="new_recipe"),
    path("recipes/<str:code>/", recipes.recipe, name="recipe"),
    path("recipes/<str:code>/revise/", recipes.revise, name="revise_recipe"),
    path("recipes/<str:code>/<int:number>/build/", recipes.new_build, name="new_build"),
    path("builds/<str:code>/", recipes.build, name="build"),
    path("cells/<str:code>/as-built/", recipes.amend_cell, name="amend_cell"),
    path("cells/<str:code>/name-anew/", codes.recode, name="recode_cell"),
    path("materials/", recipes.materials, name="materials"),
    path("materials/<int:pk>/", recipes.material, name="material"),
    path("tests/", testing.tests, name="tests"),
    path("tests/<int:pk>/", testing.test, name="test"),
    path("tests/<int:pk>/end/", testing.end, name="end_test"),
    path("tests/<int:pk>/move/", testing.move, name="move_test"),
    path("start-test/", testing.start, name="start_test"),
    path("chambers/", testing.chambers, name="chambers"),
    path("protocols/", testing.protocols, name="protocols"),
    path("protocols/<str:code>/", testing.protocol, name="protocol"),
    path("studies/", testing.studies, name="studies"),
    path("studies/<int:pk>/", testing.study, name="study"),
    path("imports/", imports.imports, name="imports"),
    path("imports/example/<str:kind>.csv", imports.example_table, name="import_example"),
    path("imports/<int:pk>/", imports.one_import, name="import"),
    path("imports/<int:pk>/apply/", imports.apply, name="apply_import"),
    path("imports/<int:pk>/withdraw/", imports.withdraw, name="withdraw_import"),
]
