// The page from a given template, so that tests can check every name in the template.
#pragma once

#include <string>
#include <string_view>

#include "cli/certificate/certificate.h"

namespace assay::cli {

/// The template of the certificate, as it stands in page.mustache.
extern const std::string_view certificate_page_template;

std::string certificate_page_from(std::string_view page_template, const Session& session,
                                  const NamedTexts& plots, const PageOptions& options = {},
                                  const NamedTexts& photographs = {});

}  // namespace assay::cli
