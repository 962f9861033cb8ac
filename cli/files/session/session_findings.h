// The findings of a session, made of its results: in session.json, in the terminal and in short words.
#pragma once

#include <string>
#include <vector>

#include "cli/files/session/session.h"
#include "cli/measures/judgement/finding.h"

namespace assay::cli {

std::vector<Finding> session_findings(const Session& session);

/// "peak where it starts to clip into 4 ohm, 2 channels driven: 12.3 V (power-4-ohm, left)"
std::string evidence_words(const Evidence& evidence);

/// "Why it falls short" where a claim is not met, "What stands out" where none is missed.
std::string findings_title(const Session& session);

/// For the terminal; empty where nothing was found.
std::string session_findings_text(const Session& session);

}  // namespace assay::cli
