"""The alkaline electrolyte: titration, density, conductivity, gas and water, and what a cell weighs."""
