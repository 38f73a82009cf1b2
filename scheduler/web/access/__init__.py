"""Who may see and write the page: the farmer by passphrase, each driver by a link of their own.

- `passphrase`: the key and the passphrase of a farm folder, attempts to give it
- `private_state`: people with their links, phones logged in, refused logins
- `guard`: checks of requests, headers of answers, the login
- `people`: the farmer's page of people, links and phones
- `driver`: a driver's page: orders of the crew, own entries, no money
"""
