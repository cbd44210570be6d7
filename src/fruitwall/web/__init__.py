"""Pages: tonight's plan in a browser, phone first.

``fruitwall.web.app.create_app(settings)`` builds the application; importing this package does nothing. Every page
is finished HTML from the server: style and script come as files of our own, scripts only add comfort.

What this layer leaves to others: planning and storage (`service`), so that the terminal and the page show the same.
"""
