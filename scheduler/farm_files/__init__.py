"""The farm folder: files into a `Farm`, every problem with file, row and column.

Layer: may import farm.

- `folder`: all files of the folder into a `Farm`
- `settings_toml`: farm.toml: rules, prices, losses
- `equipment_toml`: farm.toml: machines, crews, delivery points
- `fields_csv`: fields.csv
- `boundaries`: fields.geojson
- `rain_csv`: rain.csv: gauge readings
- `soil_csv`: soil.csv from the soil survey
- `record`: typed values: text, choices, numbers in SI, dates
- `named_values`: values of a row or table by name; problems noted with their place
- `csv_table`: tables as spreadsheets save them
- `dates`: dates and hours as people write them
- `vocabulary`: words for crops, soils, roads and columns
- `new_folder`: `afterrain new`: a folder to start from
"""
