"use strict";
const place = document.getElementById("docs");
SwaggerUIBundle({
  url: place.dataset.document,
  domNode: place,
  deepLinking: true,
  presets: [SwaggerUIBundle.presets.apis],
  requestInterceptor: (request) => {
    const token = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
    if (token && new URL(request.url, location.href).origin === location.origin) {
      request.headers["X-CSRFToken"] = token[1];
    }
    return request;
  },
});
