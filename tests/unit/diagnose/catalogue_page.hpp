// SPDX-License-Identifier: MIT
// docs/catalogue.md, made from the catalogue of faults.
#pragma once
#include "host/diagnose/catalogue.hpp"

namespace yokedock::test {

[[nodiscard]] std::string catalogue_page(const diagnose::Catalogue& catalogue);

} // namespace yokedock::test
