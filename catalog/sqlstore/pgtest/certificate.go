package pgtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"
)

// Certificate is the file of the server's certificate, which is its own
// authority, for the address that the server is reached at.
func (s *Server) Certificate() string { return filepath.Join(s.folder, "data", "server.crt") }

// makeCertificate writes a certificate and its key where the server looks for
// them.
func makeCertificate(data string, owner *owner) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "a server for tests"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	certificate, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		return err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	for name, block := range map[string]*pem.Block{
		"server.crt": {Type: "CERTIFICATE", Bytes: certificate}, "server.key": {Type: "PRIVATE KEY", Bytes: secret},
	} {
		path := filepath.Join(data, name)
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			return err
		}
		if err := owner.takes(path); err != nil {
			return err
		}
	}
	return nil
}
