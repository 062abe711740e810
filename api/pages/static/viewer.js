// Opens the viewer on this service's own description. No validator of another host is asked.
SwaggerUIBundle({
  url: "/docs/openapi-3.0.json",
  dom_id: "#viewer",
  validatorUrl: null,
  deepLinking: true,
  docExpansion: "list",
  defaultModelsExpandDepth: 0,
});
